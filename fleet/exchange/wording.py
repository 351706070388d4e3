"""What a commit will do, and did, in words."""

from typing import Final

from fleet.exchange.models import Intake

#: From here on the writing is felt by others: some seconds on SQLite, where one writes at a time.
MANY: Final = 20_000
_THINGS: Final = {
    Intake.Kind.DEVICES: ("driver", "drivers"),
    Intake.Kind.PACKS: ("pack", "packs"),
    Intake.Kind.TESTS: ("runtime test", "runtime tests"),
    Intake.Kind.ALERTS: ("sighting of an alert", "sightings of alerts"),
    Intake.Kind.CYCLES: ("cycle count", "cycle counts"),
}


def things(intake: Intake, number: int) -> str:
    """So many of what the file holds: `1 driver`, `600 drivers`."""
    one, many = _THINGS[Intake.Kind(intake.kind)]
    return f"{number:,} {one if number == 1 else many}"


def committing(intake: Intake) -> list[str]:
    """What a commit of a checked file will do, a sentence each."""
    lines = []
    if intake.new_rows:
        lines.append(f"{things(intake, intake.new_rows)} will be added.")
    if intake.changed_rows:
        lines.append(f"{things(intake, intake.changed_rows)} on record will be changed as listed below.")
    if intake.same_rows:
        lines.append(f"{things(intake, intake.same_rows)} {_are(intake.same_rows)} already known and stay as they are.")
    if intake.new_rows + intake.changed_rows > MANY:
        lines.append("Writing so many rows takes a while, in which others may have to wait. Choose a quiet hour.")
    return lines


def committed(intake: Intake) -> str:
    """What a commit did."""
    parts = [
        f"{things(intake, intake.new_rows)} added" if intake.new_rows else "",
        f"{intake.changed_rows:,} changed" if intake.changed_rows else "",
        f"{intake.same_rows:,} already known" if intake.same_rows else "",
    ]
    return ", ".join(part for part in parts if part) + "."


def _are(number: int) -> str:
    return "is" if number == 1 else "are"
