"""What to carry on a round: packs by part number, libraries to load, and what the work ahead asks for."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count

from fleet.batteries.models import Pack
from fleet.bench.models import Step
from fleet.bench.queries import in_force
from fleet.libraries.models import LibraryVersion
from fleet.rounds.queries.due import ToDo
from fleet.stores.models import Instrument


@dataclass(frozen=True, slots=True)
class Packs:
    """Packs of one part number: how many the advice asks for, and how many lie in stock."""

    part_number: str
    wanted: int
    in_stock: int


@dataclass(frozen=True, slots=True)
class Carry:
    """All to have along or ready. `for_the_bench`: drivers to make room for; `instruments`: kinds, in words."""

    packs: tuple[Packs, ...]
    libraries: tuple[tuple[LibraryVersion, int], ...]
    instruments: tuple[str, ...]
    for_the_bench: int


def carry(todo: Sequence[ToDo], on: date) -> Carry:
    """What the drivers still to be met ask for. A driver under quarantine is left as it is, so it asks for nothing."""
    rows = [each for each in todo if not each.device.quarantined]
    libraries = Counter(each.load for each in rows if each.load)
    return Carry(
        packs=_packs(Counter(each.part_number for each in rows if each.part_number)),
        libraries=tuple(sorted(libraries.items(), key=lambda item: str(item[0]))),
        instruments=_instruments(rows, on),
        for_the_bench=sum(each.for_the_bench for each in rows),
    )


def _packs(wanted: Counter[str]) -> tuple[Packs, ...]:
    shelf = Pack.objects.filter(state=Pack.State.STOCK, part_number__in=wanted)
    stock = dict(shelf.order_by().values_list("part_number").annotate(Count("pk")))
    return tuple(Packs(part, number, stock.get(part, 0)) for part, number in sorted(wanted.items()))


def _instruments(rows: Iterable[ToDo], on: date) -> tuple[str, ...]:
    """The kinds of instrument that the procedures of this work ask for; one read a type and kind, not a driver."""
    pairs = {(each.device.device_type, kind) for each in rows for kind in each.order_kinds}
    versions = [version for device_type, kind in pairs if (version := in_force(device_type, kind, on))]
    steps = Step.objects.filter(version__in=versions).exclude(instrument_kind="")
    kinds = set(steps.order_by().values_list("instrument_kind", flat=True).distinct())
    return tuple(str(kind.label) for kind in Instrument.Kind if kind.value in kinds)
