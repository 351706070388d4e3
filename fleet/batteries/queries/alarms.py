"""What the night found odd about a type's tests, and what to do about it."""

from dataclasses import dataclass
from typing import Final

from fleet.batteries.models import TypeOutlook

_HEADINGS: Final = {
    "rated": "The rated runtimes of this type may be wrong",
    "drift": "Recent tests lie outside what was expected of them",
    "technician": "Tests by {label} differ from those of others",
    "rack": "Tests at rack position {label} differ from those elsewhere",
    "batch": "Packs with the date code {label} differ from the others",
}
_TO_DO: Final = {
    "rated": (
        "Hold the type's table of rated runtimes against the maker's instructions, and its reference rate too. Do not "
        "rely on the forecasts of this type before that."
    ),
    "drift": (
        "Look at the latest tests first: was the rate, the charge or the way to stop a test changed? If the tests are "
        "right, the packs fade in another way than before: test a few of each age before you rely on the dates."
    ),
    "technician": (
        "Let somebody else repeat two or three of these tests, and go through the steps together: full charge, "
        "the stated rate, run until the driver stops by itself."
    ),
    "rack": "Repeat two of these tests at another position. If they differ, look at this position's lead and socket.",
    "batch": "Test packs of this date code first, at the next visit at the latest. If they are bad, tell the maker.",
}


@dataclass(frozen=True, slots=True)
class Alarm:
    """Something odd: its heading, what was found, and what to do."""

    heading: str
    words: str
    to_do: str


def alarms(outlook: TypeOutlook) -> list[Alarm]:
    """The alarms of a type's last night, in plain words."""
    return [
        Alarm(_HEADINGS[row["kind"]].format(label=row["label"]), row["words"], _TO_DO[row["kind"]])
        for row in outlook.alarms
    ]
