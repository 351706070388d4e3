"""What the night does to dues: it marks the late ones, and reckons counters anew.

In short batches, each its own transaction with a pause after it, so that a page never waits long for the database.
"""

import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Final

from django.db import transaction
from django.db.models import DateField, ExpressionWrapper, F, Q

from fleet.audit.actions import Happening, record_many
from fleet.audit.actors import Actor, job_actor
from fleet.schedules.actions.reckon import late_since, lock_devices, place, reckoned
from fleet.schedules.actions.stored import store_many
from fleet.schedules.actions.use import keep_readings, unkept_readings
from fleet.schedules.models import Due, DueQuerySet

BATCH: Final = 200
PAUSE_SECONDS: Final = 0.02
Progress = Callable[[int], object]

_FIRST_LATE_DAY = ExpressionWrapper(F("closes_on") + timedelta(days=1), output_field=DateField())


def unwatched(_done: int) -> None:
    """Tell nobody how far a job has got."""


def mark_late(day: date, *, progress: Progress = unwatched) -> dict[str, int]:
    """Mark every due whose window ended before `day`. Run again it changes nothing, so a killed run is run again."""
    by = job_actor("roll_dues")
    marked = 0
    while (batch := _mark_batch(day, by)) is not None:
        marked += batch
        progress(marked)
        time.sleep(PAUSE_SECONDS)
    return {"marked late": marked}


@transaction.atomic
def _mark_batch(day: date, by: Actor) -> int | None:
    """How many this batch marked, which is 0 where another worker was quicker; None when nothing is left."""
    unmarked = Due.objects.filter(suspended=False, late_since=None, closes_on__lt=day)
    ids = set(unmarked.order_by("closes_on", "id").values_list("device_id", flat=True)[:BATCH])
    if not ids:
        return None
    lock_devices(ids)
    dues = list(unmarked.filter(device_id__in=ids).select_related("plan", "device"))
    Due.objects.filter(pk__in=[due.pk for due in dues]).update(late_since=_FIRST_LATE_DAY)
    happenings = (
        Happening("became late", due, device_id=due.device_id, after={"late_since": late_since(due.closes_on, day)})
        for due in dues
    )
    record_many(happenings, by=by)
    store_many(ids)
    return len(dues)


def keep_all_readings(*, progress: Progress = unwatched) -> dict[str, int]:
    """Keep each driver's last reading of its running-hours counter, from which its recent use is told."""
    kept = 0
    while rows := list(unkept_readings().select_related("use").order_by("pk")[:BATCH]):
        kept += keep_readings(rows)
        progress(kept)
        time.sleep(PAUSE_SECONDS)
    return {"readings kept": kept}


def count_running_hours(day: date, *, progress: Progress = unwatched) -> dict[str, int]:
    """Reckon anew the dues that count running hours or charge cycles, from each driver's last reading.

    A due that is late, put off by a person or asked for by the driver keeps its day.
    """
    by = job_actor("roll_dues")
    moved, last, seen = 0, 0, 0
    open_ones = Due.objects.filter(suspended=False, asked_by_device=False, deferred_from=None, late_since=None)
    counted = Q(plan__every_hours__isnull=False) | Q(plan__every_cycles__isnull=False)
    counting = open_ones.filter(counted, closes_on__gte=day)
    while ids := _next_devices(counting, last):
        moved += _count_batch(counting.filter(device_id__in=ids), ids, day, by)
        last, seen = max(ids), seen + len(ids)
        progress(seen)
        time.sleep(PAUSE_SECONDS)
    return {"moved by their counters": moved}


def _next_devices(dues: DueQuerySet, last: int) -> set[int]:
    read = Q(device__running_hours__isnull=False) | Q(device__use__cycles__isnull=False)
    return set(dues.filter(read, device_id__gt=last).order_by("device_id").values_list("device_id", flat=True)[:BATCH])


@transaction.atomic
def _count_batch(dues: DueQuerySet, ids: set[int], day: date, by: Actor) -> int:
    lock_devices(ids)
    happenings: list[Happening] = []
    for due in dues.select_for_update(of=("self",)).select_related("plan", "device__use"):
        before, after = place(due, reckoned(due), day)
        if after:
            happenings.append(
                Happening("due moved by its counter", due, device_id=due.device_id, before=before, after=after)
            )
    record_many(happenings, by=by)
    if happenings:
        store_many(ids)
    return len(happenings)
