"""Packs and where they are fitted: new ones are added, one in stock may be fitted; nothing on record is changed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from fleet.audit.actors import Actor
from fleet.batteries.actions import NewFitting, NewPack, add_packs, fit_many
from fleet.batteries.models import Fitting, Pack
from fleet.exchange.cells import YES_NO, code, day, number, text
from fleet.exchange.columns import Column, Table, first_rows, note_lost_zeros, resolve
from fleet.exchange.kinds.common import (
    Change,
    Kind,
    Scope,
    Tell,
    Verdict,
    Weighed,
    all_parties,
    batches,
    find_devices,
    find_types,
    written,
)
from fleet.exchange.kinds.stays import stays_of
from fleet.registry.models import Device, DeviceType
from fleet.web.csv_out import Cell
from fleet.web.phrases import day as spoken

COLUMNS: Final = (
    Column(
        name="number",
        meaning="The pack's own number. A pack in a driver may do without: it is given the next of our series and "
        "known again by its driver and the day it was fitted.",
        read=code(30),
        examples=("P00417", ""),
    ),
    Column(
        name="maker",
        meaning="The pack's maker, as on record.",
        read=text(80),
        examples=("Fennick Cells", "Fennick Cells"),
        required=True,
    ),
    Column(
        name="part_number",
        meaning="The maker's part number.",
        read=code(40),
        examples=("FC-7", "FC-9"),
        required=True,
    ),
    Column(
        name="chemistry", meaning="Such as NiMH or Li-ion.", read=text(20), examples=("NiMH", "Li-ion"), required=True
    ),
    Column(name="date_code", meaning="The date code printed on it.", read=code(20), examples=("2304", "")),
    Column(name="made_on", meaning="The day it was made, if known.", read=day(past=True), examples=("2023-01-16", "")),
    Column(
        name="type_maker",
        meaning="Maker of the drivers it is for. May be empty where a driver is named.",
        read=text(80),
        examples=("Tarnwick Instruments", ""),
    ),
    Column(name="type_model", meaning="Model of those drivers.", read=text(60), examples=("TW-10", "")),
    Column(name="type_configuration", meaning="Configuration, if the model has several.", read=text(60)),
    Column(name="price", meaning="What it cost.", read=number(2, "0", "9999999.99"), examples=("58.00", "")),
    Column(
        name="device",
        meaning="Asset number of the driver it is in; empty for a pack in stock.",
        read=code(30),
        examples=("A00417", "A00418"),
    ),
    Column(
        name="fitted_on",
        meaning="The day it was fitted there.",
        read=day(past=True),
        examples=("2023-05-02", "2024-02-11"),
    ),
    Column(
        name="fitted_on_known",
        meaning="no where only the latest possible day is known; yes if empty.",
        read=YES_NO,
        examples=("yes", "no"),
    ),
)
_FACTS: Final = ("part_number", "chemistry", "date_code", "made_on", "price")
_TYPE: Final = ("type_maker", "type_model", "type_configuration")


@dataclass(slots=True)
class _Rows:
    """The table with its names resolved, and what the record knows of each pack and driver."""

    table: Table
    types: list[DeviceType | None]
    makers: list[Any]
    devices: list[Device | None]
    known: dict[str, Pack]
    theirs: set[int]
    held: dict[int, Fitting]
    stays: dict[int, list[Fitting]]
    news: list[tuple[NewPack, Device | None, date | None, bool]] = field(default_factory=list)
    fittings: list[NewFitting] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)


def weigh(table: Table, scope: Scope) -> Weighed:
    """Weigh each row: a new pack, one on record, one in stock that is fitted, or refused."""
    rows = _gathered(table, scope)
    first_rows(table, table.column("number"), "number", "This pack number stands already")
    first_rows(
        table, [device and device.pk for device in rows.devices], "device", "A pack for this driver stands already"
    )
    found = [_weigh_row(rows, index) for index in table.indexes()]
    verdicts = [Verdict.REFUSED if index in table.refused else found[index] for index in table.indexes()]

    def write(by: Actor, tell: Tell) -> None:
        _write(rows, by, tell)

    return Weighed(verdicts, write, rows.changes)


def _gathered(table: Table, scope: Scope) -> _Rows:
    devices = find_devices(table, scope)
    stays = stays_of(devices)
    known: dict[str, Pack] = {}
    for part in batches({value for value in table.column("number") if value}):
        known |= {row.number: row for row in Pack.objects.filter(number__in=part).select_related("maker")}
    theirs: set[int] = set()
    held: dict[int, Fitting] = {}
    for pks in batches([row.pk for row in known.values()]):
        packs = Pack.objects.filter(pk__in=pks)
        theirs |= set((packs if scope.person is None else packs.within(scope.person)).values_list("pk", flat=True))
        live = Fitting.objects.filter(pack__in=pks, removed_on__isnull=True).select_related("device")
        held |= {row.pack_id: row for row in live}
    note_lost_zeros(table, "number", list(known))
    makers = resolve(table, "maker", all_parties(), "party on record")
    return _Rows(table, _types(table, devices), makers, devices, known, theirs, held, stays)


def _types(table: Table, devices: Sequence[Device | None]) -> list[DeviceType | None]:
    """The type each pack is for: the one named, which must be its driver's, or its driver's."""
    types = find_types(table, _TYPE)
    for index, (kind, device) in enumerate(zip(types, devices, strict=True)):
        if kind and device and kind.pk != device.device_type_id:
            table.refuse(index, "type_model", f"{device} is a {device.device_type}. Compare with the label.")
        elif device:
            types[index] = device.device_type
        elif kind is None and index not in table.refused:
            table.refuse(index, "type_model", "Say which type of driver the pack is for, or in which driver it is.", "")
    return types


def _weigh_row(rows: _Rows, index: int) -> Verdict:
    table, device = rows.table, rows.devices[index]
    number, fitted_on = table.column("number")[index], table.column("fitted_on")[index]
    _check_fitting(rows, index)
    known = rows.known.get(number) if number else _unnumbered(rows, index, device, fitted_on)
    if known is not None:
        return _weigh_known(rows, index, known)
    if device is not None:
        _check_driver(rows, index, device, fitted_on)
    if index not in table.refused:
        how = table.column("fitted_on_known")[index] is not False
        rows.news.append((_new(rows, index), device, fitted_on, how))
    return Verdict.NEW


def _check_fitting(rows: _Rows, index: int) -> None:
    table = rows.table
    has = {name: table.filled(name, index) for name in ("number", "device", "fitted_on")}
    if has["device"] and not has["fitted_on"]:
        table.refuse(index, "fitted_on", "Give the day it was fitted, or the latest day it can have been.", "")
    if has["fitted_on"] and not has["device"]:
        table.refuse(index, "device", "Give the driver it was fitted to, or leave the day empty.", "")
    if not has["number"] and not has["device"]:
        table.refuse(index, "number", "A pack in stock needs its number; without it, it is not known again.", "")


def _unnumbered(rows: _Rows, index: int, device: Device | None, fitted_on: date | None) -> Pack | None:
    if device is None:
        return None
    part = rows.table.column("part_number")[index]
    stays = rows.stays.get(device.pk, [])
    same = (one.pack for one in stays if one.fitted_on == fitted_on and one.pack.part_number == part)
    pack = next(same, None)
    if pack is not None:
        rows.theirs.add(pack.pk)  # whoever sees the driver sees its packs
    return pack


def _check_driver(rows: _Rows, index: int, device: Device, fitted_on: date | None) -> None:
    table, stays = rows.table, rows.stays.get(device.pk, [])
    if device.retired_on:
        table.refuse(index, "device", f"{device} is retired; no pack is fitted to it.")
    if held := next((one for one in stays if one.removed_on is None), None):
        words = f"{device} holds pack {held.pack} since {spoken(held.fitted_on)}."
        table.refuse(index, "device", f"{words} Remove it on its page first, with the reason.")
    later = next((one for one in stays if fitted_on and one.removed_on and one.removed_on > fitted_on), None)
    if later and later.removed_on:
        words = f"{device} held pack {later.pack} until {spoken(later.removed_on)}."
        table.refuse(index, "fitted_on", f"{words} Give a later day.")


def _weigh_known(rows: _Rows, index: int, known: Pack) -> Verdict:
    table, device = rows.table, rows.devices[index]
    if known.pk not in rows.theirs:
        table.refuse(index, "number", "This number belongs to a pack outside your places; it is given once.")
        return Verdict.REFUSED
    _check_same(rows, index, known)
    held = rows.held.get(known.pk)
    if device is None or known.state == Pack.State.SCRAPPED or not table.column("number")[index]:
        return Verdict.SAME
    if held is None:
        return _fit_known(rows, index, known, device)
    if held.device_id != device.pk:
        words = f"Pack {known} is on record in {held.device}. Remove it there first, with the reason."
        table.refuse(index, "device", words)
    elif held.fitted_on != table.column("fitted_on")[index]:
        table.refuse(index, "fitted_on", f"On record it was fitted on {held.fitted_on}; a file does not change that.")
    return Verdict.SAME


def _fit_known(rows: _Rows, index: int, known: Pack, device: Device) -> Verdict:
    table, on = rows.table, rows.table.column("fitted_on")[index]
    if known.state != Pack.State.STOCK:
        table.refuse(index, "device", f"Pack {known} was taken out before. Fit it again on its page.")
    _check_driver(rows, index, device, on)
    if index not in table.refused:
        known_day = table.column("fitted_on_known")[index] is not False
        rows.fittings.append(NewFitting(pack=known, device=device, on=on, known=known_day))
        rows.changes.append(Change(table.rows[index], "device", "in stock", f"{device}, fitted on {on}"))
    return Verdict.CHANGED


def _check_same(rows: _Rows, index: int, known: Pack) -> None:
    table, kind, maker = rows.table, rows.types[index], rows.makers[index]
    for name in _FACTS:
        stated, stands = table.column(name)[index], getattr(known, name)
        if stated is not None and stated != stands:
            told = f"{stands} stands" if stands else "nothing stands"
            table.refuse(index, name, f"On record {told} for pack {known}; a file does not change a pack.")
    if maker and maker.pk != known.maker_id:
        table.refuse(index, "maker", f"Pack {known} is on record as made by {known.maker}.")
    if kind and kind.pk != known.for_type_id:
        table.refuse(index, "type_model", f"Pack {known} is on record for another type.")


def _new(rows: _Rows, index: int) -> NewPack:
    table, kind = rows.table, rows.types[index]
    if kind is None:
        raise AssertionError(index)  # such a row was refused
    stated = {name: table.column(name)[index] for name in ("number", *_FACTS)}
    facts = {name: value for name, value in stated.items() if value is not None}
    return NewPack(for_type=kind, maker=rows.makers[index], **facts)


def _write(rows: _Rows, by: Actor, tell: Tell) -> None:
    def add(part: list[tuple[NewPack, Device | None, date | None, bool]]) -> None:
        packs = add_packs([new for new, _, _, _ in part], by=by)
        pairs = zip(packs, part, strict=True)
        fit_many(
            [NewFitting(pack=pack, device=dev, on=on, known=how) for pack, (_, dev, on, how) in pairs if dev and on],
            by=by,
        )

    written(rows.news, add, tell)
    fit_many(rows.fittings, by=by)


def rows_out(scope: Scope) -> Iterator[Sequence[Cell]]:
    """Every pack that is not scrapped, with the driver it is in, in the columns of the template."""
    packs = Pack.objects.exclude(state=Pack.State.SCRAPPED)
    packs = packs if scope.person is None else packs.within(scope.person)
    live = {row.pack_id: row for row in Fitting.objects.filter(removed_on__isnull=True).select_related("device")}
    for pack in packs.select_related("maker", "for_type__maker").order_by("number").iterator(chunk_size=2000):
        stay = live.get(pack.pk)
        kind = pack.for_type
        cells: dict[str, Cell] = {name: getattr(pack, name) for name in ("number", *_FACTS)}
        cells |= {"maker": pack.maker.name, "type_maker": kind.maker.name, "type_model": kind.model}
        cells |= {"type_configuration": kind.configuration, "device": stay.device.asset_number if stay else ""}
        cells |= {"fitted_on": stay.fitted_on if stay else None}
        cells["fitted_on_known"] = ("yes" if stay.fitted_on_known else "no") if stay else ""
        yield [cells[column.name] for column in COLUMNS]


KIND: Final = Kind(
    code="packs",
    about="Battery packs and the driver each is in. A pack on record is never changed by a file; one in stock "
    "may be fitted by it. A file of packs sent out leaves out scrapped packs and earlier stays.",
    columns=COLUMNS,
    weigh=weigh,
    rows=rows_out,
    page="batteries:packs",
)
