"""Devices: new ones are added, known ones may change the facts that a person may edit; identity never changes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final

from django.db.models import Max

from fleet.audit.actors import Actor
from fleet.exchange.cells import choice, code, day, moment, number, text, whole
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
    find_types,
    told,
    written,
)
from fleet.registry.actions import NewDevice, add_devices, edit_devices
from fleet.registry.models import Device, DeviceType
from fleet.schedules.actions import open_dues_of_all
from fleet.schedules.models import Due, Plan
from fleet.web.csv_out import Cell


def _words(choices: Any) -> dict[str, Any]:
    return {word: one.value for one in choices for word in (one.value, one.label)}


COLUMNS: Final = (
    Column(
        name="asset_number",
        meaning="The hospital's own number on the driver. By it a row is known again when a file is sent twice.",
        read=code(30),
        examples=("A00417", "A00418"),
        required=True,
    ),
    Column(
        name="serial_number",
        meaning="The maker's number, as on the label.",
        read=code(40),
        examples=("TW10-30211", "L3-00877"),
        required=True,
    ),
    Column(
        name="maker",
        meaning="The maker, as under Register, Types.",
        read=text(80),
        examples=("Tarnwick Instruments", "Ossel & Brey"),
        required=True,
    ),
    Column(
        name="model",
        meaning="The model, as under Register, Types.",
        read=text(60),
        examples=("TW-10", "Lento 3"),
        required=True,
    ),
    Column(name="configuration", meaning="The configuration, if the model has several.", read=text(60)),
    Column(
        name="home",
        meaning="The short code of the place it belongs to, as under Register, Places.",
        read=text(80),
        examples=("mg-ward-4", "cv-ward-2"),
        required=True,
    ),
    Column(
        name="accepted_on",
        meaning="The day it passed acceptance. A new driver with it is taken over in use; without it, it waits for its "
        "acceptance order.",
        read=day(past=True),
        examples=("2023-05-02", ""),
    ),
    Column(
        name="last_service_on",
        meaning="The last service an earlier record knows of; its next dues count from there. Read for new drivers in "
        "use only.",
        read=day(past=True),
        examples=("2026-04-20", ""),
    ),
    Column(name="udi", meaning="The whole UDI as scanned.", read=text(200)),
    Column(name="di", meaning="The device identifier within the UDI.", read=code(40)),
    Column(name="lot", meaning="The lot or batch.", read=code(40), examples=("L2304", "")),
    Column(
        name="pool",
        meaning="clinical, loan, training or spare; clinical if empty.",
        read=choice(_words(Device.Pool)),
        examples=("clinical", "spare"),
    ),
    Column(
        name="owner",
        meaning="hospital, rented, trial or patient; hospital if empty.",
        read=choice(_words(Device.Owner)),
        examples=("hospital", "hospital"),
    ),
    Column(name="cost_centre", meaning="Who pays for it.", read=code(40), examples=("4410", "4410")),
    Column(name="delivered_on", meaning="The day of delivery.", read=day(past=True), examples=("2023-04-28", "")),
    Column(name="warranty_until", meaning="The last day of the warranty.", read=day(), examples=("2027-04-28", "")),
    Column(name="supplier", meaning="Who sold it, as on record.", read=text(80)),
    Column(name="service_provider", meaning="Who services it besides the bench, as on record.", read=text(80)),
    Column(name="price", meaning="What it cost.", read=number(2, "0", "9999999.99"), examples=("1450.00", "")),
    Column(
        name="currency",
        meaning="The currency of the price: three letters of ISO 4217.",
        read=text(3),
        examples=("EUR", ""),
    ),
    Column(name="purchase_order", meaning="The order it was bought with.", read=code(40)),
    Column(name="firmware", meaning="The firmware version last seen.", read=code(30), examples=("3.2.1", "")),
    Column(
        name="firmware_seen_at",
        meaning="When that was, with the time of day.",
        read=moment,
        examples=("2026-04-20 10:15", ""),
    ),
    Column(
        name="running_hours",
        meaning="The running-hours counter.",
        unit="h",
        read=number(1, "0", "99999999"),
        examples=("8120.5", ""),
    ),
    Column(
        name="running_hours_at",
        meaning="When the counter was read, with the time of day.",
        read=moment,
        examples=("2026-04-20 10:15", ""),
    ),
    Column(
        name="own_charging_hours",
        meaning="Hours to charge fully, only where it differs from the type.",
        unit="h",
        read=number(2, "0.01", "200"),
    ),
    Column(
        name="own_replacement_level",
        meaning="Runtime fraction under which its pack is replaced, only where it differs from the type.",
        read=number(3, "0.05", "1"),
    ),
    Column(
        name="own_service_life_months",
        meaning="Expected service life, only where it differs from the type.",
        unit="months",
        read=whole(1, 1200),
    ),
)
_PARTIES: Final = ("supplier", "service_provider")
_READINGS: Final = (("firmware", "firmware_seen_at"), ("running_hours", "running_hours_at"))
_FACTS: Final = (
    "udi", "di", "lot", "pool", "owner", "cost_centre", "delivered_on", "warranty_until", "price", "currency",
    "purchase_order", "own_charging_hours", "own_replacement_level", "own_service_life_months",
)  # fmt: skip


@dataclass(slots=True)
class _Rows:
    """The table with its names resolved, and what the record knows of each row."""

    table: Table
    scope: Scope
    types: list[DeviceType | None]
    things: dict[str, list[Any]]
    known: dict[str, Device]
    theirs: set[int]
    serials: dict[tuple[int, str], str]
    news: list[NewDevice] = field(default_factory=list)
    served: dict[str, date] = field(default_factory=dict)
    edits: list[tuple[Device, dict[str, Any]]] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)


def weigh(table: Table, scope: Scope) -> Weighed:
    """Weigh each row: new, known and the same, known with changed facts, or refused."""
    rows = _gathered(table, scope)
    first_rows(table, table.column("asset_number"), "asset_number", "This asset number stands already")
    first_rows(table, _serial_keys(rows), "serial_number", "This serial number stands for the same type already")
    _check_readings(table)
    found = [_weigh_row(rows, index) for index in table.indexes()]
    verdicts = [Verdict.REFUSED if index in table.refused else found[index] for index in table.indexes()]

    def write(by: Actor, tell: Tell) -> None:
        _write(rows, by, tell)

    return Weighed(verdicts, write, rows.changes)


def _gathered(table: Table, scope: Scope) -> _Rows:
    parties = all_parties()
    places = {place.code: place for place in scope.places()}
    things = {"home": resolve(table, "home", places, "place of yours")}
    things |= {name: resolve(table, name, parties, "party on record") for name in _PARTIES}
    known: dict[str, Device] = {}
    serials: dict[tuple[int, str], str] = {}
    for part in batches({value for value in table.column("asset_number") if value}):
        known |= {row.asset_number: row for row in Device.objects.filter(asset_number__in=part).select_related("home")}
    for part in batches({value for value in table.column("serial_number") if value}):
        found = Device.objects.filter(serial_number__in=part)
        serials |= {(kind, serial): asset for kind, serial, asset in found.values_list(*_SERIAL)}
    theirs: set[int] = set()
    for pks in batches([row.pk for row in known.values()]):
        theirs |= set(scope.devices().filter(pk__in=pks).values_list("pk", flat=True))
    note_lost_zeros(table, "asset_number", list(known))
    note_lost_zeros(table, "serial_number")
    types = find_types(table, ("maker", "model", "configuration"))
    return _Rows(table, scope, types, things, known, theirs, serials)


_SERIAL: Final = ("device_type_id", "serial_number", "asset_number")


def _serial_keys(rows: _Rows) -> list[tuple[int, str] | None]:
    serials = rows.table.column("serial_number")
    return [(kind.pk, serial) if kind and serial else None for kind, serial in zip(rows.types, serials, strict=True)]


def _check_readings(table: Table) -> None:
    for value, seen in _READINGS:
        pairs = zip(table.column(value), table.column(seen), strict=True)
        for index, (read, at) in enumerate(pairs):
            if read is not None and at is None and not table.filled(seen, index):
                table.refuse(index, seen, f"Say when {value} was read.", "")


def _weigh_row(rows: _Rows, index: int) -> Verdict:
    asset, kind = rows.table.column("asset_number")[index], rows.types[index]
    known = rows.known.get(asset) if asset else None
    if known is not None:
        return _weigh_known(rows, index, known)
    serial = rows.table.column("serial_number")[index]
    if kind and serial and (other := rows.serials.get((kind.pk, serial))):
        words = f"This serial number of the same type is on record as {other}."
        rows.table.refuse(index, "serial_number", f"{words} Compare both numbers with the label.")
    if index not in rows.table.refused and kind:
        rows.news.append(_new(rows, index, kind))
        if last := rows.table.column("last_service_on")[index]:
            rows.served[asset] = last
    return Verdict.NEW


def _new(rows: _Rows, index: int, kind: DeviceType) -> NewDevice:
    facts = _stated(rows, index, (*_FACTS, *_PARTIES, *(name for pair in _READINGS for name in pair), "accepted_on"))
    return NewDevice(
        asset_number=rows.table.column("asset_number")[index],
        serial_number=rows.table.column("serial_number")[index],
        device_type=kind,
        home=rows.things["home"][index],
        taken_over=f"taken over in use from {rows.scope.origin}" if facts.get("accepted_on") else "",
        facts=facts,
    )


def _stated(rows: _Rows, index: int, names: Sequence[str]) -> dict[str, Any]:
    """What the row states; an empty cell states nothing."""
    present = (name for name in names if rows.table.has(name))
    found = {name: rows.things.get(name, rows.table.column(name))[index] for name in present}
    return {name: value for name, value in found.items() if value is not None}


def _weigh_known(rows: _Rows, index: int, known: Device) -> Verdict:
    table = rows.table
    if known.pk not in rows.theirs:
        table.refuse(index, "asset_number", "This number belongs to a driver outside your places; it is given once.")
        return Verdict.REFUSED
    _check_identity(rows, index, known)
    differing = _differing(rows, index, known)
    if differing and known.retired_on:
        table.refuse(index, min(differing), f"{known} is retired; its facts no longer change.")
    home = differing.get("home")
    if home and home.top != known.home.top:
        table.refuse(index, "home", f"{home} belongs to another site. Transfer {known} there on its page.")
    if not differing or index in table.refused:
        return Verdict.SAME
    rows.edits.append((known, differing))
    row = table.rows[index]
    rows.changes += [Change(row, name, told(getattr(known, name)), told(value)) for name, value in differing.items()]
    return Verdict.CHANGED


def _check_identity(rows: _Rows, index: int, known: Device) -> None:
    table, kind = rows.table, rows.types[index]
    serial, accepted = table.column("serial_number")[index], table.column("accepted_on")[index]
    if serial and serial != known.serial_number:
        words = f"{known} is on record with serial number {known.serial_number}; a file does not change it."
        table.refuse(index, "serial_number", f"{words} Compare both numbers with the label.")
    if kind and kind.pk != known.device_type_id:
        table.refuse(index, "model", f"{known} is on record as another type; a file does not change it.")
    if accepted and accepted != known.accepted_on:
        stands = f"was accepted on {known.accepted_on}" if known.accepted_on else "waits for its acceptance order"
        table.refuse(index, "accepted_on", f"{known} {stands}; a file does not change that. Leave it empty.")


def _differing(rows: _Rows, index: int, known: Device) -> dict[str, Any]:
    stated = _stated(rows, index, (*_FACTS, *_PARTIES, "home"))
    differing = {name: value for name, value in stated.items() if not _equal(known, name, value)}
    for name, seen in _READINGS:
        differing |= _newer(rows, index, known, name, seen)
    return differing


def _equal(known: Device, name: str, value: Any) -> bool:
    return bool(known.serializable_value(name) == getattr(value, "pk", value))


def _newer(rows: _Rows, index: int, known: Device, name: str, seen: str) -> dict[str, Any]:
    """A reading later than the one on record; an earlier one changes nothing."""
    value, at = rows.table.column(name)[index], rows.table.column(seen)[index]
    before, before_at = getattr(known, name), getattr(known, seen)
    if value is None or at is None or (before_at and at <= before_at):
        return {}
    if isinstance(value, Decimal) and before is not None and value < before:
        words = f"The counter stood at {before} h before; it never runs backwards."
        rows.table.refuse(index, name, f"{words} If it was restarted, record that on the driver's page first.")
        return {}
    return {name: value, seen: at} if value != before else {seen: at}


def _write(rows: _Rows, by: Actor, tell: Tell) -> None:
    def add(news: list[NewDevice]) -> None:
        in_use = [device for device in add_devices(news, by=by) if device.accepted_on]
        open_dues_of_all(in_use, by=by, served_on={row.pk: rows.served.get(row.asset_number) for row in in_use})

    written(rows.news, add, tell)
    edit_devices(rows.edits, by=by, why=f"as in {rows.scope.origin}")


_STRAIGHT: Final = (*_FACTS, "accepted_on", *(name for pair in _READINGS for name in pair))


def rows_out(scope: Scope) -> Iterator[Sequence[Cell]]:
    """Every driver that is not retired, in the columns of the template."""
    served = _last_services()
    devices = scope.devices().filter(retired_on__isnull=True).order_by("asset_number")
    for row in devices.select_related("device_type__maker", "home", *_PARTIES).iterator(chunk_size=2000):
        kind = row.device_type
        cells = {name: getattr(row, name) for name in _STRAIGHT}
        cells |= {name: str(getattr(row, name) or "") for name in _PARTIES}
        cells |= {"asset_number": row.asset_number, "serial_number": row.serial_number, "home": row.home.code}
        cells |= {"maker": kind.maker.name, "model": kind.model, "configuration": kind.configuration}
        cells["last_service_on"] = served.get(row.pk)
        yield [cells[column.name] for column in COLUMNS]


def _last_services() -> dict[int, date | None]:
    rows = Due.objects.filter(plan__kind=Plan.Kind.SERVICE).order_by().values_list("device_id")
    return dict(rows.annotate(last=Max("last_done_on")))


KIND: Final = Kind(
    code="devices",
    about="Drivers with their numbers, type, home and purchase facts. A driver on record takes on what the file states "
    "anew; an empty cell changes nothing; asset number, serial number, type and acceptance never change. A file of "
    "drivers sent out leaves out the retired ones.",
    columns=COLUMNS,
    weigh=weigh,
    rows=rows_out,
    page="registry:devices",
)
