"""What is read off drivers, by hand or by their network, and what is stored on them for lists."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from fleet.audit.actions import Happening, record_many
from fleet.audit.actors import Actor
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.actions.devices import BATCH, locked, note
from fleet.registry.models import Device


@transaction.atomic
def note_firmware(device: Device, version: str, *, at: datetime, by: Actor) -> Device:
    """Record the firmware version seen on a driver."""
    return note(device, "firmware seen", by, firmware=version, firmware_seen_at=at)


@transaction.atomic
def note_running_hours(device: Device, hours: Decimal, *, at: datetime, by: Actor) -> Device:
    """Record the running-hours counter. It never runs backwards: a lower value is refused."""
    row = locked(device)
    if row.running_hours is not None and hours < row.running_hours:
        msg = (
            f"The counter stood at {row.running_hours} h before; {hours} h is less. Read it again. Was a board "
            "replaced? Then record on the driver's page that its counter was restarted."
        )
        raise BadValueError(msg, field="running_hours")
    return note(row, "running hours read", by, running_hours=hours, running_hours_at=at)


@transaction.atomic
def note_running_hours_of_many(read: Mapping[int, Decimal], *, at: datetime, by: Actor) -> int:
    """Record the counters of several drivers by id, as their network tells them. One that shows less is left out."""
    ids, rows = sorted(read), []
    for start in range(0, len(ids), BATCH):
        held = Device.objects.select_for_update().filter(pk__in=ids[start : start + BATCH]).order_by("pk")
        rows += [row for row in held if row.running_hours is None or read[row.pk] >= row.running_hours]
    told = []
    for row in rows:
        before = {"running_hours": row.running_hours}
        row.running_hours, row.running_hours_at = read[row.pk], at
        after = {"running_hours": row.running_hours}
        told.append(Happening("running hours read", row, device_id=row.pk, before=before, after=after))
    Device.objects.bulk_update(rows, ["running_hours", "running_hours_at"], batch_size=BATCH)
    return record_many(told, by=by)


@transaction.atomic
def restart_running_hours(device: Device, hours: Decimal, *, at: datetime, by: Actor) -> Device:
    """Record what a new running-hours counter reads, which may be less. Only the schedules room calls it."""
    by.must(May.WORK_ON_BENCH)
    return note(device, "running hours begun anew", by, running_hours=hours, running_hours_at=at)


def note_due(device: Device, *, next_due: date | None, closes: date | None, late_since: date | None) -> None:
    """Store the earliest due on the device, for lists. Derived from the dues, which leave the trail themselves."""
    Device.objects.filter(pk=device.pk).update(next_due=next_due, next_due_closes=closes, late_since=late_since)


def note_dues(stored: Mapping[int, tuple[date | None, date | None, date | None]]) -> None:
    """Store next due, window's end and lateness on several devices by id, in few statements (see note_due)."""
    rows = [
        Device(pk=pk, next_due=next_due, next_due_closes=closes, late_since=late_since)
        for pk, (next_due, closes, late_since) in stored.items()
    ]
    Device.objects.bulk_update(rows, ["next_due", "next_due_closes", "late_since"], batch_size=BATCH)
