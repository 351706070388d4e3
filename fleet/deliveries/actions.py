"""The only writers of deliveries: begun, scanned into, undone, taken in all together, or dropped."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench import actions as bench
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.numbering import run_from
from fleet.core.permissions import May
from fleet.core.words import Worded
from fleet.deliveries import queries
from fleet.deliveries.models import Delivery, DeliveryLine
from fleet.deliveries.queries import Read
from fleet.registry import actions as registry
from fleet.registry.actions import NewDevice
from fleet.registry.models import Device, DeviceType
from fleet.web import clock

#: What is stated of a delivery, and may be changed until it is taken in.
FACTS: Final = frozenset(
    {"device_type", "place", "supplier", "purchase_order", "delivered_on", "warranty_until", "pool", "first_asset"}
)
#: More are taken in as two deliveries: one sheet of labels, one press.
MOST: Final = 500


class Heard(Worded):
    """What came of a scan, in a word."""

    ADDED = "added", "Added"
    HERE = "here", "Already here"
    UNREADABLE = "unreadable", "Unreadable"
    TYPE_UNKNOWN = "type_unknown", "Which type?"


@dataclass(frozen=True, slots=True)
class Scanned:
    """The answer to a scan: the word, a sentence, and the line if one was added."""

    heard: Heard
    words: str
    line: DeliveryLine | None = None
    read: Read | None = None


@transaction.atomic
def begin(facts: Mapping[str, Any], *, by: Actor) -> Delivery:
    """Begin a delivery with what its papers say; its drivers are scanned into it afterwards."""
    by.must(May.HAND_OVER)
    row = Delivery(**facts, begun_at=clock.now(), by_id=by.person_id, by_name=by.name[:120])
    _check(row)
    row.save()
    record(Happening("began delivery", row, after=_told(facts)), by=by)
    return row


@transaction.atomic
def correct(delivery: Delivery, facts: Mapping[str, Any], *, by: Actor) -> Delivery:
    """Change what is stated of an open delivery. Lines scanned already keep the type that their own code names."""
    row = _held(delivery, by)
    before_type = row.device_type_id
    before, after = change(row, **facts)
    _check(row)
    for line in row.lines.filter(undone_at=None, di="", device_type_id=before_type):
        change(line, device_type=row.device_type)
    if after:
        record(Happening("corrected delivery", row, before=_told(before), after=_told(after)), by=by)
    return row


def _told(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: str(value) if name in {"device_type", "place", "supplier"} else value for name, value in facts.items()
    }


def _check(row: Delivery) -> None:
    if row.delivered_on > clock.today():
        raise BadValueError("This day has not come yet. Give the day it was delivered on.", field="delivered_on")
    if row.warranty_until and row.warranty_until < row.delivered_on:
        raise BadValueError("The warranty ends before the delivery. Check both days.", field="warranty_until")
    if row.first_asset:
        run_from(row.first_asset, 1)


@transaction.atomic
def scan(delivery: Delivery, text: str, *, by: Actor) -> Scanned:
    """Take one scanned or typed serial number or UDI. The same driver twice changes nothing and is told by name."""
    row = _held(delivery, by)
    read = queries.read(row, text)
    if read.problem:
        return Scanned(Heard.UNREADABLE, read.problem, read=read)
    if read.device_type is None:
        return Scanned(Heard.TYPE_UNKNOWN, f"No type is on record with the identifier {read.di}.", read=read)
    if here := _here(row, read.device_type, read.serial_number):
        return Scanned(Heard.HERE, here, read=read)
    if row.lines.filter(undone_at=None).count() >= MOST:
        raise BadValueError(f"This delivery has {MOST} drivers. Take it in, and begin another for the rest.")
    return _added(row, read, read.device_type, by)


def _here(row: Delivery, device_type: DeviceType, serial: str) -> str:
    """Why a serial number is not added a second time; empty when it is new."""
    held = list(queries.lines(row))
    same = [line for line in held if line.serial_number.casefold() == serial.casefold()]
    if twin := next((line for line in same if line.device_type_id == device_type.pk), None):
        return f"Serial {serial} is row {held.index(twin) + 1} of this delivery."
    if known := queries.same_on_record(device_type, serial):
        return f"{queries.named_on_record(known)}."
    if other := queries.in_another(row, device_type, serial):
        return f"Serial {serial} was scanned into {other}, which is still open."
    return ""


def _added(row: Delivery, read: Read, device_type: DeviceType, by: Actor) -> Scanned:
    line = DeliveryLine.objects.create(
        delivery=row,
        device_type=device_type,
        serial_number=read.serial_number,
        scanned=read.scanned[:200],
        di=read.di,
        lot=read.lot,
        expires_on=read.expires_on,
        warnings=list(read.warnings),
        scanned_at=clock.now(),
        by_name=by.name[:120],
    )
    told = {"serial_number": line.serial_number, "type": str(device_type)}
    record(Happening("scanned into delivery", row, after=told), by=by)
    other = "" if device_type.pk == row.device_type_id else f" It is a {device_type}, not the type of this delivery."
    return Scanned(Heard.ADDED, f"Serial {line.serial_number}.{other}", line, read)


@transaction.atomic
def learn(delivery: Delivery, text: str, device_type: DeviceType, *, by: Actor) -> Scanned:
    """Say once which type an unknown identifier belongs to; it is remembered, and the driver is added."""
    row = _held(delivery, by)
    read = queries.read(row, text)
    if read.di and read.device_type is None:
        registry.learn_identifier(device_type, read.di, by=by)
    return scan(row, text, by=by)


@transaction.atomic
def take_out(line: DeliveryLine, *, by: Actor) -> DeliveryLine:
    """Take a driver out of an open delivery again. Doing it twice is doing it once."""
    row = _held(line.delivery, by)
    held = DeliveryLine.objects.select_for_update().get(pk=line.pk)
    if held.undone_at is None:
        change(held, undone_at=clock.now())
        record(Happening("took out of delivery", row, before={"serial_number": held.serial_number}), by=by)
    return held


@transaction.atomic
def compared(delivery: Delivery, line: int | None = None, *, by: Actor) -> int:
    """Say that the label bears out a line's doubtful code (without a line, each of the delivery).

    How many lines that were is returned. A serial number that is wrong is taken out and typed in instead.
    """
    row = _held(delivery, by)
    doubtful = [each for each in queries.lines(row) if each.warnings and line in {None, each.pk}]
    for each in doubtful:
        before = {"serial_number": each.serial_number, "doubts": each.warnings}
        change(each, warnings=[])
        record(Happening("compared with label", row, before=before, after={"doubts": []}), by=by)
    return len(doubtful)


@transaction.atomic
def finish(delivery: Delivery, *, by: Actor) -> list[Device]:
    """Make the drivers, their asset numbers and their acceptance orders together, or nothing of it.

    Raises BadValueError that names each row which stands against it; nothing is written then.
    """
    row = _held(delivery, by)
    page = queries.delivery_page(row)
    if not page.rows:
        raise BadValueError("Nothing is scanned yet. Scan at least one driver, or drop this delivery.")
    if problems := page.problems:
        words = " ".join(f"Row {each.position}: {each.problem}" for each in problems)
        raise BadValueError(f"Nothing was taken in. {words}")
    rows = page.rows[::-1]
    devices = registry.add_devices([_new(row, each) for each in rows], by=by)
    bench.raise_acceptances(devices, reported=_reported(row), by=by)
    for each, device in zip(rows, devices, strict=True):
        change(each.line, device=device)
    before, after = change(row, finished_at=clock.now(), finished_by_name=by.name[:120])
    record(Happening("took delivery in", row, before=before, after={**after, "drivers": len(devices)}), by=by)
    return devices


def _new(row: Delivery, each: queries.Row) -> NewDevice:
    facts = {
        "udi": each.line.scanned if each.line.di else "",
        "di": each.line.di,
        "lot": each.line.lot,
        "pool": row.pool,
        "delivered_on": row.delivered_on,
        "warranty_until": row.warranty_until,
        "supplier": row.supplier,
        "purchase_order": row.purchase_order,
    }
    return NewDevice(
        serial_number=each.line.serial_number,
        device_type=each.line.device_type,
        home=row.place,
        asset_number=each.asset_number,
        facts=facts,
    )


def _reported(row: Delivery) -> str:
    order = f", purchase order {row.purchase_order}" if row.purchase_order else ""
    return f"{row} of {row.delivered_on:%d %b %Y}{order}"


@transaction.atomic
def drop(delivery: Delivery, *, why: str, by: Actor) -> Delivery:
    """Drop an open delivery that will not be taken in; what was scanned stays on record."""
    row = _held(delivery, by)
    if not why.strip():
        raise BadValueError("Say why this delivery is dropped.", field="why")
    before, after = change(row, dropped_at=clock.now(), dropped_why=why.strip())
    record(Happening("dropped delivery", row, before=before, after=after, why=why.strip()), by=by)
    return row


def _held(delivery: Delivery, by: Actor) -> Delivery:
    """Lock an open delivery for somebody who takes drivers in."""
    by.must(May.HAND_OVER)
    row = Delivery.objects.select_for_update().get(pk=delivery.pk)
    if not row.is_open:
        state = "was taken in" if row.finished_at else "was dropped"
        raise ConflictError(f"{row} {state} already. Begin another for further drivers.")
    return row
