"""The overview as tiles: a number, what it counts, and the address of the rows behind it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from django.urls import reverse

from fleet.libraries.queries import State
from fleet.reports.queries import DAYS_AHEAD, Overview, Standing, Wanting

#: What shouts where there is any.
_SHOUTING: Final = frozenset({Wanting.LOANS, Wanting.NOTICES_LATE, Wanting.REVIEWS})
_LISTED_STATES = (State.CURRENT, State.BEHIND, State.UNKNOWN, State.NOT_SEEN)
#: Where each number that is no driver's is listed: the page, and how it is narrowed.
_LISTS: Final[Mapping[Wanting, tuple[str, Mapping[str, str]]]] = {
    Wanting.LOANS: ("loans:loans", {"show": "late"}),
    Wanting.ACCESSORIES: ("accessories:missing", {}),
    Wanting.PROCEDURES: ("bench:procedures", {"state": "waiting"}),
    Wanting.LIMITS: ("bench:reference_limits", {"checked": "no"}),
    Wanting.PARTS: ("stores:parts", {"state": "under"}),
    Wanting.NOTICES: ("notices:notices", {}),
    Wanting.NOTICES_LATE: ("notices:notices", {"show": "late"}),
    Wanting.CONTRACTS: ("contracts:contracts", {"show": "decide"}),
    Wanting.REVIEWS: ("reports:departures", {"show": "late"}),
}


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
    """Everything that is counted, by subject; a subject of which the person may open nothing is left out."""
    subjects = {
        "Planned work": _planned(overview),
        "Out of use": _out_of_use(overview),
        "Notices, loans, stock, contracts and procedures": _wanting(overview),
        "Batteries in service": _batteries(overview),
        "Drug libraries and network": _libraries(overview),
    }
    every = (Group(title, tuple(tiles)) for title, tiles in subjects.items())
    return [group for group in every if group.tiles]


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
        number = overview.drivers[standing]
        if standing is Standing.IN_USE:
            if number:
                yield Tile(number, standing.label, to_drivers(standing), "harm")
        elif standing is not Standing.NEVER_READ:
            yield Tile(number, standing.label, to_drivers(standing))
    yield Tile(overview.alerts, "Open alerts", reverse("alerts:list"))


def _wanting(overview: Overview) -> Iterator[Tile]:
    for what, number in overview.wanting.items():
        name, narrowed = _LISTS[what]
        kind = "late" if number and what in _SHOUTING else ""
        yield Tile(number, what.label, _with(name, **narrowed) if narrowed else reverse(name), kind)


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
