"""What to carry on a round: packs by part number, libraries to load, and what the work ahead asks for."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Sum

from fleet.batteries.models import Pack
from fleet.bench.models import ProcedureVersion, Step
from fleet.bench.queries import InForce, Kits, working_sites
from fleet.libraries.models import LibraryVersion
from fleet.registry.models import Place
from fleet.rounds.queries.due import ToDo
from fleet.stores.models import Instrument, Part, Stock
from fleet.stores.queries import usable

#: The procedure in force by device type and kind of order.
Versions = dict[tuple[int, str], ProcedureVersion]


@dataclass(frozen=True, slots=True)
class Packs:
    """Packs of one part number: how many the advice asks for, and how many lie in stock."""

    part_number: str
    wanted: int
    in_stock: int


@dataclass(frozen=True, slots=True)
class Parts:
    """A part of the kits of this work: how many it takes, and how many can be used at the benches that do it."""

    part: Part
    wanted: int
    in_stock: int


@dataclass(frozen=True, slots=True)
class Carry:
    """All to have along or ready. `for_the_bench`: drivers to make room for; `instruments`: kinds, in words.

    `parts`: what the kits of this work's procedures hold, for all drivers together.
    """

    packs: tuple[Packs, ...]
    parts: tuple[Parts, ...]
    libraries: tuple[tuple[LibraryVersion, int], ...]
    instruments: tuple[str, ...]
    for_the_bench: int


def carry(todo: Sequence[ToDo], on: date) -> Carry:
    """What the drivers still to be met ask for. A driver under quarantine is left as it is, so it asks for nothing."""
    rows = [each for each in todo if not each.device.quarantined]
    versions = _versions(rows, on)
    libraries = Counter(each.load for each in rows if each.load)
    return Carry(
        packs=_packs(Counter(each.part_number for each in rows if each.part_number)),
        parts=_parts(rows, versions, on),
        libraries=tuple(sorted(libraries.items(), key=lambda item: str(item[0]))),
        instruments=_instruments(versions.values()),
        for_the_bench=sum(each.for_the_bench for each in rows),
    )


def _packs(wanted: Counter[str]) -> tuple[Packs, ...]:
    shelf = Pack.objects.filter(state=Pack.State.STOCK, part_number__in=wanted)
    stock = dict(shelf.order_by().values_list("part_number").annotate(Count("pk")))
    return tuple(Packs(part, number, stock.get(part, 0)) for part, number in sorted(wanted.items()))


def _parts(rows: Sequence[ToDo], versions: Versions, on: date) -> tuple[Parts, ...]:
    """What the kits of the procedures hold for all these drivers, as far as it fits each."""
    kits, wanted = Kits(on), Counter[int]()
    works = Counter((each.device.device_type_id, kind) for each in rows for kind in each.order_kinds)
    for pair, version in versions.items():
        for part, many in kits.lines(version.procedure_id, pair[0]):
            wanted[part] += many * works[pair]
    if not wanted:
        return ()
    homes, at = Place.objects.filter(pk__in={each.device.home_id for each in rows}), working_sites(on)
    sites = {at.get(site, site) for site in homes.values_list("site", flat=True) if site is not None}
    held = Stock.objects.filter(usable(on), shelf__part__in=wanted, shelf__place__site__in=sites).order_by()
    stock = dict(held.values_list("shelf__part").annotate(n=Sum("quantity")))
    named = Part.objects.filter(pk__in=wanted)
    return tuple(Parts(part, wanted[part.pk], stock.get(part.pk, 0)) for part in named)


def _versions(rows: Iterable[ToDo], on: date) -> Versions:
    """The procedures of this work by type and kind, read at once."""
    pairs = {(each.device.device_type_id, kind) for each in rows for kind in each.order_kinds}
    held = InForce(on)
    found = {pair: held.of(*pair) for pair in pairs}
    return {pair: version for pair, version in found.items() if version}


def _instruments(versions: Iterable[ProcedureVersion]) -> tuple[str, ...]:
    """The kinds of instrument that the procedures ask for."""
    steps = Step.objects.filter(version__in=list(versions)).exclude(instrument_kind="")
    kinds = set(steps.order_by().values_list("instrument_kind", flat=True).distinct())
    return tuple(str(kind.label) for kind in Instrument.Kind if kind.value in kinds)
