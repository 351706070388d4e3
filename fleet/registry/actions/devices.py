"""Devices: adding, editing, moving through their conditions, and what was last seen of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.audit.changes import change, fingerprint, refuse_changed
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.lifecycle import (
    FORGETS_ACCEPTANCE,
    NEW_CONDITION,
    NEW_WAIT_REASON,
    Condition,
    Facts,
    Move,
    WaitReason,
    ask,
)
from fleet.core.permissions import May
from fleet.registry.actions.reference import next_number, with_values
from fleet.registry.models import Device, DeviceType, Place
from fleet.web import clock

T = TypeVar("T")
BATCH = 1000

# What `edit_device` may change: facts about the device. Its condition, place and dues have actions of their own.
EDITABLE = frozenset(
    {
        "serial_number", "udi", "di", "lot", "pool", "owner", "cost_centre", "home", "delivered_on", "warranty_until",
        "supplier", "service_provider", "price", "currency", "purchase_order", "own_charging_hours",
        "own_replacement_level", "own_service_life_months",
    }
)  # fmt: skip
# What `edit_devices` may change: facts, and what was last read off a driver.
_EDITABLE_TOGETHER = (EDITABLE - {"serial_number"}) | {
    "firmware", "firmware_seen_at", "running_hours", "running_hours_at",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class NewDevice:
    """A driver to be added. Without an asset number the next free one of our own series is given.

    `taken_over` states where acceptance stands on record when a fleet in use is taken in from an earlier record; it
    needs `facts["accepted_on"]`. Left empty, the driver waits for an acceptance order here.
    """

    serial_number: str
    device_type: DeviceType
    home: Place
    asset_number: str = ""
    taken_over: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)


@transaction.atomic
def add_device(new: NewDevice, *, by: Actor) -> Device:
    """Add one driver. Unless taken over in use, it waits for acceptance: only that order puts it into service."""
    return add_devices([new], by=by)[0]


@transaction.atomic
def add_devices(news: Sequence[NewDevice], *, by: Actor) -> list[Device]:
    """Add drivers together, all or none. Raises BadValueError that names the number which is taken."""
    if not by.duties & {May.EDIT_REGISTRY, May.IMPORT_RECORDS, May.HAND_OVER}:
        by.must(May.EDIT_REGISTRY)
    devices = [_fresh(new) for new in news]
    _refuse_taken(devices)
    if len(devices) == 1:
        _clean(devices[0])
    Device.objects.bulk_create(devices, batch_size=BATCH)
    record_many(
        (
            Happening("added device", device, device_id=device.pk, after=_first_facts(device), why=new.taken_over)
            for device, new in zip(devices, news, strict=True)
        ),
        by=by,
    )
    return devices


def _fresh(new: NewDevice) -> Device:
    if new.taken_over and not new.facts.get("accepted_on"):
        msg = f"Serial number {new.serial_number}: a driver taken over in use needs the date it was accepted on."
        raise BadValueError(msg, field="accepted_on")
    state: dict[str, Any] = {"condition": NEW_CONDITION.value, "wait_reason": NEW_WAIT_REASON.value}
    if new.taken_over:
        state = {"condition": Condition.IN_SERVICE.value, "wait_reason": ""}
    return Device(
        asset_number=new.asset_number or _free_asset_number(),
        serial_number=new.serial_number,
        device_type=new.device_type,
        home=new.home,
        **{"place": new.home, "condition_since": clock.now(), **state, **new.facts},
    )


def _free_asset_number() -> str:
    while True:
        number = f"SD{next_number('asset'):05d}"
        if not Device.objects.filter(asset_number=number).exists():
            return number


def _first_facts(device: Device) -> dict[str, Any]:
    return {
        "asset number": device.asset_number,
        "serial number": device.serial_number,
        "type": str(device.device_type),
        "home": str(device.home),
        "condition": device.condition,
    }


def _refuse_taken(devices: Sequence[Device]) -> None:
    assets = [device.asset_number for device in devices]
    serials = [(device.device_type_id, device.serial_number) for device in devices]
    if twice := _twice(assets):
        msg = f"Asset number {twice} stands twice. Each device has its own."
        raise BadValueError(msg, field="asset_number")
    if repeated := _twice(serials):
        msg = f"Serial number {repeated[1]} stands twice for one type."
        raise BadValueError(msg, field="serial_number")
    for start in range(0, len(devices), BATCH):
        _refuse_known(devices[start : start + BATCH])


def _refuse_known(devices: Sequence[Device]) -> None:
    assets = [device.asset_number for device in devices]
    if taken := Device.objects.filter(asset_number__in=assets).first():
        msg = f"Asset number {taken.asset_number} belongs to another device. Asset numbers are never given twice."
        raise BadValueError(msg, field="asset_number")
    wanted = {(device.device_type_id, device.serial_number) for device in devices}
    known = Device.objects.filter(serial_number__in=[serial for _, serial in wanted])
    for row in known:
        if (row.device_type_id, row.serial_number) in wanted:
            msg = f"Serial number {row.serial_number} of this type is on record as {row.asset_number}."
            raise BadValueError(msg, field="serial_number")


def _twice(values: Sequence[T]) -> T | None:
    seen: set[T] = set()
    for value in values:
        if value in seen:
            return value
        seen.add(value)
    return None


def _clean(device: Device) -> None:
    try:
        device.clean_fields(exclude=["condition", "wait_reason"])
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise BadValueError(f"{name.replace('_', ' ')}: {messages[0]}", field=name) from error


@transaction.atomic
def edit_device(
    device: Device, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> Device:
    """Change facts of a device. Raises BadValueError for a field that has an action of its own or a wrong value.

    `opened` is the fingerprint of EDITABLE that a form was opened with: ConflictError if they were changed since.
    """
    by.must(May.EDIT_REGISTRY)
    if wrong := set(changes) - EDITABLE:
        msg = f"{min(wrong).replace('_', ' ')} is not changed here; it has an act of its own."
        raise BadValueError(msg, field=min(wrong))
    row = locked(device)
    refuse_changed(row, EDITABLE, opened)
    refuse_retired(row)
    _refuse_other_site(row, changes)
    _refuse_training(row, changes)
    _refuse_other_with(row, changes.get("serial_number", row.serial_number))
    _clean(with_values(row, changes))
    before, after = change(row, **changes)
    if after:
        record(Happening("changed device", row, device_id=row.pk, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def edit_devices(edits: Sequence[tuple[Device, Mapping[str, Any]]], *, by: Actor, why: str = "") -> int:
    """Change facts of drivers together, all or none: what a file states anew. How many were changed is returned.

    Each device is as the caller read it; ConflictError names the first that somebody changed since. The values were
    checked before.
    """
    if not by.duties & {May.EDIT_REGISTRY, May.IMPORT_RECORDS}:
        by.must(May.EDIT_REGISTRY)
    for start in range(0, len(edits), BATCH):
        _edit_batch(edits[start : start + BATCH], by, why)
    return len(edits)


def _edit_batch(edits: Sequence[tuple[Device, Mapping[str, Any]]], by: Actor, why: str) -> None:
    held = Device.objects.select_for_update(of=("self",)).select_related("home")
    rows = held.in_bulk([device.pk for device, _ in edits])
    happenings = [_edited(rows[device.pk], device, changes, why) for device, changes in edits]
    fields = sorted({name for _, changes in edits for name in changes})
    Device.objects.bulk_update(rows.values(), fields)
    record_many(happenings, by=by)


def _edited(row: Device, read: Device, changes: Mapping[str, Any], why: str) -> Happening:
    if wrong := set(changes) - _EDITABLE_TOGETHER:
        msg = f"{min(wrong).replace('_', ' ')} is not changed here; it has an act of its own."
        raise BadValueError(msg, field=min(wrong))
    if fingerprint(row, changes) != fingerprint(read, changes):
        raise ConflictError(f"{row} was changed by somebody else meanwhile. Nothing was written.")
    refuse_retired(row)
    _refuse_training(row, changes)
    _refuse_other_site(row, changes)
    before = {name: getattr(row, name) for name in changes}
    for name, value in changes.items():
        setattr(row, name, value)
    return Happening("changed device", row, device_id=row.pk, before=before, after=changes, why=why)


def refuse_retired(row: Device) -> None:
    """The record of a retired driver is read, and changed by nobody any more."""
    if row.condition == Condition.RETIRED.value:
        raise MoveRefusedError(f"{row} is retired: its record is kept as it is.")


def _refuse_other_site(row: Device, changes: Mapping[str, Any]) -> None:
    home = changes.get("home", row.home)
    if home.top != row.home.top:
        msg = f"{home} belongs to another site. Transfer the driver there: the day and its condition go on record."
        raise BadValueError(msg, field="home")


def _refuse_training(row: Device, changes: Mapping[str, Any]) -> None:
    """Training units are made, and end, by an act of their own, so that none slips into clinical use unchecked."""
    pool = changes.get("pool", row.pool)
    if pool != row.pool and Device.Pool.TRAINING in {pool, row.pool}:
        msg = f"{row} becomes a training unit, or ends as one, on the bench only: receive it there and say why."
        raise BadValueError(msg, field="pool")


def _refuse_other_with(device: Device, serial: str) -> None:
    same = Device.objects.filter(device_type_id=device.device_type_id, serial_number=serial).exclude(pk=device.pk)
    if other := same.first():
        msg = f"Serial number {serial} of this type is on record as {other.asset_number}."
        raise BadValueError(msg, field="serial_number")


def locked(device: Device) -> Device:
    """The device's row, locked until the caller's transaction ends.

    Without joins: PostgreSQL drops a row it waited for when the place joined to it has changed meanwhile.
    """
    return Device.objects.select_for_update().get(pk=device.pk)


@transaction.atomic
def move(  # noqa: PLR0913 - one move has one reason, place and time
    device: Device,
    step: Move,
    facts: Facts,
    *,
    by: Actor,
    wait_reason: WaitReason | None = None,
    place: Place | None = None,
    why: str = "",
    done_at: datetime | None = None,
) -> Device:
    """Move a driver to another condition if `core.lifecycle` allows it; the trail keeps both.

    Raises MoveRefusedError or NotAllowedError in words; nothing is written then.
    """
    row = locked(device)
    goal = ask(Condition(row.condition), step, facts, by.duties)
    values: dict[str, Any] = {
        "condition": goal.value,
        "wait_reason": _reason_of(goal, wait_reason),
        "condition_since": done_at or clock.now(),
    }
    if place is not None:
        values["place"] = place
    if Condition.RETIRED in {goal, Condition(row.condition)}:
        values["retired_on"] = clock.today() if goal is Condition.RETIRED else None
    if step in FORGETS_ACCEPTANCE:
        values["accepted_on"] = None
    before, after = change(row, **values)
    record(Happening(_VERBS[step], row, device_id=row.pk, before=before, after=after, why=why, done_at=done_at), by=by)
    return row


_VERBS = {
    Move.TAG: "tagged out of use",
    Move.RECEIVE: "received on the bench",
    Move.WAIT: "set aside to wait",
    Move.RESUME: "taken up again",
    Move.RETURN: "returned to service",
    Move.HOLD_BACK: "held back out of use",
    Move.REPORT_MISSING: "reported as not located",
    Move.FIND: "found",
    Move.RETIRE: "retired",
    Move.TAKE_BACK: "retirement taken back",
    Move.TRAIN: "made a training unit",
    Move.UNTRAIN: "no longer a training unit",
}


def _reason_of(goal: Condition, wait_reason: WaitReason | None) -> str:
    if goal is not Condition.WAITING:
        return ""
    if wait_reason is None:
        msg = "Say what the driver waits for: parts, the maker, decontamination or acceptance."
        raise BadValueError(msg, field="wait_reason")
    return wait_reason.value


@transaction.atomic
def accept(device: Device, on: date, *, by: Actor) -> Device:
    """Record that a driver passed acceptance. The bench calls it when the acceptance order is completed."""
    by.must(May.WORK_ON_BENCH)
    return note(device, "accepted", by, accepted_on=on)


@transaction.atomic
def see(device: Device, place: Place, source: str, *, by: Actor, at: datetime | None = None) -> Device:
    """Record where a driver was last seen. An older sighting than the one on record changes nothing."""
    row = locked(device)
    moment = at or clock.now()
    if row.last_seen_at and moment < row.last_seen_at:
        return row
    values = {"last_seen_at": moment, "last_seen_place": place, "last_seen_source": source, "place": place}
    before, after = change(row, **values)
    record(Happening("seen", row, device_id=row.pk, before=before, after=after, done_at=moment), by=by)
    return row


@transaction.atomic
def set_quarantined(device: Device, *, quarantined: bool, by: Actor) -> Device:
    """Mark a driver as under quarantine or not. Only the tags room calls it, with the quarantine's own row."""
    return note(device, "quarantined" if quarantined else "quarantine lifted", by, quarantined=quarantined)


@transaction.atomic
def renew_label(device: Device, *, by: Actor) -> Device:
    """Make every label printed so far stop working."""
    by.must(May.EDIT_REGISTRY)
    return note(device, "label renewed", by, label_issue=locked(device).label_issue + 1)


def note(device: Device, verb: str, by: Actor, **values: Any) -> Device:
    """Write facts of a driver, with the verb by which the trail tells them. For the actions of this room."""
    row = locked(device)
    before, after = change(row, **values)
    record(Happening(verb, row, device_id=row.pk, before=before, after=after), by=by)
    return row
