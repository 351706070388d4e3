"""The overview as tiles: a number, what it counts, and the address of the rows behind it."""

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from fleet.libraries.queries import State
from fleet.reports.queries import DAYS_AHEAD, Overview, Standing

_LISTED_STATES = (State.CURRENT, State.BEHIND, State.UNKNOWN, State.NOT_SEEN)


@dataclass(frozen=True, slots=True)
class Tile:
    """One number. `kind` is "late" or "harm" where it shouts, else empty; `is_well` if the number is no work to do."""

    number: int
    label: str
    url: str
    kind: str = ""
    is_well: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Tiles about one subject."""

    title: str
    tiles: tuple[Tile, ...]


def groups(overview: Overview) -> list[Group]:
    """Everything that is counted, by subject."""
    return [
        Group("Planned work", tuple(_planned(overview))),
        Group("Out of use", tuple(_out_of_use(overview))),
        Group("Batteries in service", tuple(_batteries(overview))),
        Group("Drug libraries and network", tuple(_libraries(overview))),
    ]


def to_drivers(standing: Standing) -> str:
    """The address of the drivers that stand so."""
    return reverse("reports:drivers", args=[standing.value])


def _planned(overview: Overview) -> Iterator[Tile]:
    for ageing, number in overview.late.items():
        label = f"Late, {ageing.label[:1].lower()}{ageing.label[1:]}"
        yield Tile(number, label, _with("schedules:overdue", age=ageing.value), "late" if number else "")
    yield Tile(overview.coming, f"Due in {DAYS_AHEAD} days", _with("schedules:due", days=DAYS_AHEAD))


def _out_of_use(overview: Overview) -> Iterator[Tile]:
    kind = "harm" if overview.quarantines else ""
    yield Tile(overview.quarantines, "In quarantine", reverse("tags:quarantines"), kind)
    for standing in Standing:
        if standing is not Standing.NEVER_READ:
            yield Tile(overview.drivers[standing], standing.label, to_drivers(standing))
    yield Tile(overview.alerts, "Open alerts", reverse("alerts:list"))


def _batteries(overview: Overview) -> Iterator[Tile]:
    held = overview.batteries
    yield Tile(
        held.will_not_last, "May not last until the next visit, by their limit", reverse("batteries:will_not_last")
    )
    yield Tile(held.already_below, "Already below", _with("batteries:will_not_last", list="below"))
    yield Tile(held.never_tested, "Never tested", _with("batteries:will_not_last", list="never"))
    yield Tile(held.not_enough, "Not enough data for a forecast", _with("batteries:will_not_last", list="not_enough"))


def _libraries(overview: Overview) -> Iterator[Tile]:
    for state in _LISTED_STATES:
        url = _with("libraries:drivers", state=state.value)
        yield Tile(overview.library[state], f"Library: {state.phrase}", url, is_well=state is State.CURRENT)
    yield Tile(overview.drivers[Standing.NEVER_READ], Standing.NEVER_READ.label, to_drivers(Standing.NEVER_READ))


def _with(name: str, **query: object) -> str:
    return f"{reverse(name)}?{urlencode(query)}"
