"""What every kind of file has: its columns, how its rows are weighed against the record, written, and sent out."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final, NamedTuple, TypeVar

from django.db.models import QuerySet

from fleet.audit.actors import Actor
from fleet.exchange.cells import unknown
from fleet.exchange.columns import Column, Table, note_lost_zeros
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType, Party, Place
from fleet.registry.queries import types
from fleet.web.csv_out import Cell

T = TypeVar("T")
BATCH: Final = 1000
#: Rows written between two signs of progress.
STEP: Final = 5000


class Verdict(StrEnum):
    """What the check found of one row; kept as one letter a row."""

    NEW = "n"
    SAME = "s"
    CHANGED = "c"
    REFUSED = "r"


class Change(NamedTuple):
    """A fact on record that a row of the file states differently."""

    row: int
    field: str
    before: str
    after: str


#: Hears how many rows are written.
Tell = Callable[[int], None]
Write = Callable[[Actor, Tell], None]


@dataclass(slots=True)
class Weighed:
    """A table weighed against the record: a verdict a row, what would change, and how to write it."""

    verdicts: list[Verdict]
    write: Write
    changes: list[Change] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Scope:
    """Whose places count. Without a person (a command on the server) every place does."""

    person: Person | None
    origin: str = "a file"

    def devices(self) -> QuerySet[Device]:
        """The drivers a row may name."""
        return Device.objects.all() if self.person is None else Device.objects.within(self.person)

    def places(self) -> QuerySet[Place]:
        """The places a row may name."""
        rows = Place.objects.filter(closed_on__isnull=True)
        return rows if self.person is None else rows.within(self.person)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of file that can be taken in and sent out."""

    code: str
    about: str
    columns: tuple[Column, ...]
    weigh: Callable[[Table, Scope], Weighed]
    rows: Callable[[Scope], Iterator[Sequence[Cell]]]
    #: The page on which the rows stand once they are on record.
    page: str


def batches(things: Iterable[T], size: int = BATCH) -> Iterator[list[T]]:
    """The things in lists of `size`."""
    held = list(things)
    for start in range(0, len(held), size):
        yield held[start : start + size]


def written(things: Sequence[T], act: Callable[[list[T]], object], tell: Tell) -> None:
    """Write things in steps and say after each how many are written."""
    done = 0
    for part in batches(things, STEP):
        act(part)
        done += len(part)
        tell(done)


def all_types() -> dict[int, DeviceType]:
    """Every device type with its maker and rated runtimes, by id."""
    return {row.pk: row for row in types()}


def all_parties() -> dict[str, Party]:
    """Every maker, supplier and provider by name."""
    return {party.name: party for party in Party.objects.all()}


def find_types(table: Table, names: tuple[str, str, str]) -> list[DeviceType | None]:
    """The type that maker, model and configuration of each row name together; a row that names none is refused.

    A row in which maker and model are both empty names no type and is not refused for that.
    """
    known = {_type_key(row.maker.name, row.model, row.configuration): row for row in all_types().values()}
    cells = zip(*(table.column(name) for name in names), strict=True)
    return [_type_of(table, index, names, tuple(one), known) for index, one in enumerate(cells)]


def _type_key(*words: str | None) -> tuple[str, ...]:
    return tuple((word or "").casefold() for word in words)


def _type_of(
    table: Table,
    index: int,
    names: tuple[str, str, str],
    words: tuple[str | None, ...],
    known: dict[tuple[str, ...], DeviceType],
) -> DeviceType | None:
    if not (words[0] and words[1]):
        if words[0] or words[1]:
            missing = names[1] if words[0] else names[0]
            if not table.filled(missing, index):
                table.refuse(index, missing, "A type needs both its maker and its model.", "")
        return None
    found = known.get(_type_key(*words))
    if found is None:
        told = " ".join(word for word in words if word)
        table.refuse(index, names[1], unknown(told, [_told(row) for row in known.values()], "type"), told)
    return found


def _told(row: DeviceType) -> str:
    return " ".join(word for word in (row.maker.name, row.model, row.configuration) if word)


def find_devices(table: Table, scope: Scope, name: str = "device") -> list[Device | None]:
    """The driver that each row names by its asset number; one that is not theirs, or not there, is refused."""
    column = table.column(name)
    known = _devices_named({value for value in column if value}, scope)
    lost = {value for value in column if value and value not in known}
    hints = _hints(lost, scope) if lost else {}
    for index, value in enumerate(column):
        if value in lost:
            table.refuse(index, name, hints[value])
    if lost:
        note_lost_zeros(table, name)
    return [known.get(value) if value else None for value in column]


def _devices_named(assets: set[str], scope: Scope) -> dict[str, Device]:
    kinds = all_types()
    found: dict[str, Device] = {}
    for part in batches(sorted(assets)):
        for device in scope.devices().filter(asset_number__in=part):
            device.device_type = kinds[device.device_type_id]
            found[device.asset_number] = device
    return found


def _hints(assets: set[str], scope: Scope) -> dict[str, str]:
    """For each number that no driver has: the one that is meant, where it differs in case, signs or leading zeros."""
    known = {_squashed(asset): asset for asset in scope.devices().values_list("asset_number", flat=True)}
    return {asset: _hint(asset, known.get(_squashed(asset), "")) for asset in assets}


def _squashed(asset: str) -> str:
    return "".join(sign for sign in asset.casefold() if sign.isalnum()).lstrip("0")


def _hint(asset: str, meant: str) -> str:
    start = "No driver of yours has this asset number."
    if not meant:
        return f"{start} Check the label; a new driver comes in with the file of devices first."
    zeros = meant.casefold().lstrip("0") == asset.casefold()
    why = " A spreadsheet may have taken its leading zeros." if zeros and meant != asset else ""
    return f"{start} Is {meant} meant?{why}"


def told(value: Any) -> str:
    """A value in a list of changes."""
    return "" if value is None else str(value)
