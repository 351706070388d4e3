"""The only writers of how much a driver is used: readings kept for its rate, and counters that were restarted."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import F, OuterRef, Q, Subquery
from django.utils import timezone

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry import actions as registry
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device, DeviceQuerySet
from fleet.schedules.models import CounterReading, DriverUse
from fleet.schedules.queries import rate_a_week, rates_a_week, use_of
from fleet.web import clock

_Counter = CounterReading.Counter


@transaction.atomic
def restart_hours(device: Device, reads: Decimal, *, why: str, by: Actor, last: Decimal | None = None) -> DriverUse:
    """Record that the running-hours counter begins anew (a board was replaced): the total goes on.

    `reads`: what the new counter shows; `last`: what the old one showed last, where it could still be read. Raises
    BadValueError where no counter was read before, or `last` is less than what was read.
    """
    by.must(May.WORK_ON_BENCH)
    if not why.strip():
        raise BadValueError("Say what was replaced, or why the counter begins anew.", field="why")
    row = locked(device)
    if row.running_hours is None:
        raise BadValueError("No counter was read on this driver yet; record its reading on an order.", field="reads")
    if last is not None and last < row.running_hours:
        raise BadValueError(f"The old counter read {row.running_hours} h before; give that or more.", field="last")
    use, _ = DriverUse.objects.select_for_update().get_or_create(device=row)
    ran = row.running_hours if last is None else last
    before, after = change(use, hours_before=use.hours_before + ran - reads)
    registry.restart_running_hours(row, reads, at=clock.now(), by=by)
    told = {**after, "old counter": str(ran), "new counter": str(reads)}
    record(Happening("counter restarted", use, device_id=row.pk, before=before, after=told, why=why.strip()), by=by)
    return use


@transaction.atomic
def note_cycles(device: Device, total: int, on: date) -> None:
    """Keep the charge cycles that packs have made in a driver. Derived from the counts, which leave the trail."""
    use, _ = DriverUse.objects.select_for_update().get_or_create(device=device)
    if use.cycles_on is not None and on < use.cycles_on:
        return
    _keep([(device.pk, _Counter.CYCLES, on, Decimal(total))])
    change(use, cycles=total, cycles_on=on, cycles_a_week=rate_a_week(device.pk, _Counter.CYCLES))


def unkept_readings() -> DeviceQuerySet:
    """Drivers whose running-hours counter was read on a later day than the last reading kept."""
    kept = CounterReading.objects.filter(device=OuterRef("pk"), counter=_Counter.HOURS).order_by("-read_on")
    rows = Device.objects.filter(running_hours__isnull=False, running_hours_at__isnull=False)
    rows = rows.annotate(kept_on=Subquery(kept.values("read_on")[:1]))
    return rows.filter(Q(kept_on=None) | Q(running_hours_at__date__gt=F("kept_on")))


@transaction.atomic
def keep_readings(devices: Iterable[Device]) -> int:
    """Keep the last reading of each driver and reckon its recent use anew."""
    rows = [device for device in devices if device.running_hours is not None and device.running_hours_at is not None]
    totals = {device.pk: use_of(device).hours_before + (device.running_hours or 0) for device in rows}
    days = {device.pk: timezone.localdate(device.running_hours_at) for device in rows}
    _keep((pk, _Counter.HOURS, days[pk], total) for pk, total in totals.items())
    rates = rates_a_week(totals, _Counter.HOURS)
    DriverUse.objects.bulk_create((DriverUse(device_id=pk) for pk in totals), ignore_conflicts=True)
    uses = list(DriverUse.objects.filter(device__in=totals))
    for use in uses:
        use.hours_a_week = rates[use.device_id]
    DriverUse.objects.bulk_update(uses, ["hours_a_week"])
    return len(rows)


def _keep(readings: Iterable[tuple[int, str, date, Decimal]]) -> None:
    rows = [CounterReading(device_id=pk, counter=what, read_on=day, total=total) for pk, what, day, total in readings]
    unique = ["device", "counter", "read_on"]
    CounterReading.objects.bulk_create(rows, update_conflicts=True, update_fields=["total"], unique_fields=unique)
