"""One ward report as it is handed to `actions.raise_tag`, and what makes it usable."""

import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import TextChoices

from fleet.alerts.models import AlertKind
from fleet.core.errors import BadValueError
from fleet.registry.models import Place
from fleet.tags.models import Decontamination, TagReport, YesNo

# A phone's clock may run a little ahead of the server's.
CLOCK_SLACK = timedelta(minutes=5)
_CHOICES: dict[str, tuple[str, type[TextChoices]]] = {
    "what": ("what happened", TagReport.What),
    "connected": ("whether it was connected to a patient", YesNo),
    "harm": ("whether anyone was harmed or might have been", YesNo),
    "decontamination": ("whether it was cleaned", Decontamination),
}
_NEEDED = {
    "where": "where the driver is, so that it can be fetched",
    "reporter": "who reports",
    "reach": "how to reach you: a phone, a bleep or the ward",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What one person says about one driver.

    `key` comes with the form: the same key twice is the same report. `place` is the ward the driver stands in, when it
    is known; `where` says the spot in words. Without `happened_at` it happened now.
    """

    what: str
    connected: str
    harm: str
    where: str
    reporter: str
    reach: str
    key: uuid.UUID = field(default_factory=uuid.uuid4)
    words: str = ""
    screen_text: str = ""
    goes_along: str = ""
    decontamination: str = Decontamination.UNKNOWN.value
    incident_reference: str = ""
    place: Place | None = None
    happened_at: datetime | None = None
    alert_kinds: tuple[AlertKind, ...] = ()

    @property
    def harm_possible(self) -> bool:
        """Whether the driver must be kept as it is: somebody was harmed, or nobody can rule it out."""
        return self.harm in {YesNo.YES, YesNo.NOT_SURE}

    def fields(self) -> dict[str, str]:
        """The columns that a TagReport shares with this, without the spaces around what was typed."""
        return {name: str(getattr(self, name)).strip() for name in _COLUMNS}


_COLUMNS = (
    "what", "words", "screen_text", "connected", "harm", "goes_along", "decontamination", "incident_reference",
    "where", "reporter", "reach",
)  # fmt: skip


def check(report: Report, now: datetime) -> None:
    """Raise BadValueError that names the first field which cannot be used and says what would be right."""
    for name, (meaning, choices) in _CHOICES.items():
        if getattr(report, name) not in choices.values:
            said = ", ".join(f"“{choice.label}”" for choice in choices)
            raise BadValueError(f"Say {meaning}: {said}.", field=name)
    for name, meaning in _NEEDED.items():
        if not getattr(report, name).strip():
            raise BadValueError(f"Say {meaning}.", field=name)
    for name, value in report.fields().items():
        longest = getattr(TagReport, name).field.max_length
        if longest and len(value) > longest:
            raise BadValueError(f"Keep this to {longest} characters; it has {len(value)}.", field=name)
    if report.happened_at and report.happened_at > now + CLOCK_SLACK:
        raise BadValueError(
            "It cannot have happened later than now. Correct the date or the time.", field="happened_at"
        )
