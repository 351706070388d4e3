"""Charge cycles counted on a day. A count never falls with time; one on record never changes."""

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise
from typing import Final, NamedTuple

from fleet.audit.actors import Actor
from fleet.batteries.actions import count_cycles_of_many
from fleet.batteries.models import CycleCount, Pack
from fleet.exchange.cells import code, day, whole
from fleet.exchange.columns import Column, Table, first_rows
from fleet.exchange.kinds.common import Kind, Scope, Tell, Verdict, Weighed, batches, find_devices, written
from fleet.exchange.kinds.stays import packs_of_rows
from fleet.web.csv_out import Cell
from fleet.web.phrases import day as spoken

COLUMNS: Final = (
    Column(name="pack", meaning="Number of the pack.", read=code(30), examples=("P00417", "")),
    Column(
        name="device",
        meaning="Asset number of the driver the pack was in that day, if the pack's number is not known.",
        read=code(30),
        examples=("", "A00418"),
    ),
    Column(
        name="counted_on",
        meaning="The day the count was read.",
        read=day(past=True),
        examples=("2026-04-20", "2026-04-21"),
        required=True,
    ),
    Column(
        name="cycles",
        meaning="Charge cycles the pack had made by then.",
        read=whole(0, 100_000),
        examples=("312", "145"),
        required=True,
    ),
)


class _Count(NamedTuple):
    """A count on record, or in the file: then with the index of its line."""

    on: date
    cycles: int
    line: int | None = None


def weigh(table: Table, scope: Scope) -> Weighed:
    """Weigh each row: a new count, one on record and the same, or refused."""
    devices = find_devices(table, scope)
    days, cycles = table.column("counted_on"), table.column("cycles")
    packs = packs_of_rows(table, scope, devices, days)
    for index in table.indexes():
        if not any(table.filled(name, index) for name in _WHICH):
            table.refuse(index, "pack", "Name the pack, or the driver it was in.", "")
    keys = [(pack.pk, on) if pack and on else None for pack, on in zip(packs, days, strict=True)]
    first_rows(table, keys, "counted_on", "A count of this pack on this day stands already")
    known = _known({pack.pk for pack in packs if pack})
    same = {index for index, key in enumerate(keys) if key and cycles[index] == known.get(key[0], {}).get(key[1])}
    _check_order(table, packs, known, same)
    news = [
        CycleCount(pack=pack, counted_on=days[index], cycles=cycles[index])
        for index, pack in enumerate(packs)
        if pack and index not in table.refused and index not in same
    ]

    def write(by: Actor, tell: Tell) -> None:
        written(news, lambda part: count_cycles_of_many(part, by=by), tell)

    return Weighed([_verdict(table, index, same) for index in table.indexes()], write)


_WHICH: Final = ("pack", "device")


def _verdict(table: Table, index: int, same: set[int]) -> Verdict:
    if index in table.refused:
        return Verdict.REFUSED
    return Verdict.SAME if index in same else Verdict.NEW


def _known(packs: set[int]) -> dict[int, dict[date, int]]:
    found: dict[int, dict[date, int]] = {}
    for part in batches(packs):
        rows = CycleCount.objects.filter(pack__in=part).order_by()
        for pack, on, cycles in rows.values_list("pack_id", "counted_on", "cycles"):
            found.setdefault(pack, {})[on] = cycles
    return found


def _check_order(table: Table, packs: Sequence[Pack | None], known: dict[int, dict[date, int]], same: set[int]) -> None:
    """Refuse a count that differs from the one on record for its day, or that falls with time."""
    lines: dict[int, list[_Count]] = {pk: [_Count(*pair) for pair in counts.items()] for pk, counts in known.items()}
    for index, pack in enumerate(packs):
        if pack is None or index in table.refused or index in same:
            continue
        new = _Count(table.column("counted_on")[index], table.column("cycles")[index], index)
        stands = known.get(pack.pk, {}).get(new.on)
        if stands is not None:
            words = f"On record pack {pack} has {stands} cycles on this day; a file does not change a count."
            table.refuse(index, "cycles", words)
            continue
        lines.setdefault(pack.pk, []).append(new)
    for counts in lines.values():
        for before, after in pairwise(sorted(counts, key=lambda count: count.on)):
            _check_pair(table, before, after)


def _check_pair(table: Table, before: _Count, after: _Count) -> None:
    if after.cycles >= before.cycles:
        return
    index, other = (after.line, before) if after.line is not None else (before.line, after)
    if index is not None:
        words = f"There were {other.cycles} on {spoken(other.on)}; a count never falls with time."
        table.refuse(index, "cycles", f"{words} Read both again.")


def rows_out(scope: Scope) -> Iterator[Sequence[Cell]]:
    """Every count, in the columns of the template."""
    packs = Pack.objects.all() if scope.person is None else Pack.objects.all().within(scope.person)
    counts = CycleCount.objects.filter(pack__in=packs).order_by("pack__number", "counted_on")
    for number, on, cycles in counts.values_list("pack__number", "counted_on", "cycles").iterator(chunk_size=2000):
        yield [number, "", on, cycles]


KIND: Final = Kind(
    code="cycles",
    about="Charge cycles a pack had made by a day. A count on record is never changed by a file.",
    columns=COLUMNS,
    weigh=weigh,
    rows=rows_out,
    page="batteries:packs",
)
