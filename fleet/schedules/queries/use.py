"""How much a driver is used, and when each limit of a due is reached: by months, running hours or charge cycles."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from django.utils import timezone

from fleet.core import due as calendar
from fleet.core.words import Worded
from fleet.registry.models import Device
from fleet.schedules.models import CounterReading, DriverUse, Due

_DAYS_A_WEEK: Final = 7


class Limit(Worded):
    """What makes a due come up."""

    MONTHS = "months", "Months"
    HOURS = "hours", "Running hours"
    CYCLES = "cycles", "Charge cycles"


@dataclass(frozen=True, slots=True)
class Reach:
    """When one limit of a due is reached. `day` is None where that can't be told; `used` and `a_week` of a counter."""

    limit: Limit
    day: date | None
    every: int
    used: float | None = None
    a_week: float | None = None

    @property
    def reached(self) -> bool:
        """Whether a counter is there already."""
        return self.used is not None and self.used >= self.every


def use_of(device: Device) -> DriverUse:
    """The use on record; one without anything known where there is none."""
    try:
        return device.use
    except DriverUse.DoesNotExist:
        return DriverUse(device=device)


def total_hours(device: Device) -> Decimal | None:
    """The running hours of all the counters a driver had; None where none was ever read."""
    return None if device.running_hours is None else use_of(device).hours_before + device.running_hours


def reaches(due: Due) -> list[Reach]:
    """Each limit that holds for a due with the day it is reached, soonest first, those that can't be told last."""
    found = [by for by in (_months(due), _hours(due), _cycles(due)) if by is not None]
    return sorted(found, key=lambda reach: (reach.day is None, reach.day))


def _months(due: Due) -> Reach | None:
    if due.every_months is None:
        return None
    mode, before = calendar.DueMode(due.plan.mode), due.plan.window_before_days
    day = calendar.next_due(mode, due.anchor, due.every_months, due.last_done_on, before)
    return Reach(Limit.MONTHS, day, due.every_months)


def _hours(due: Due) -> Reach | None:
    if due.plan.every_hours is None:
        return None
    device, total = due.device, total_hours(due.device)
    read_on = timezone.localdate(device.running_hours_at) if device.running_hours_at else None
    read = (read_on, total) if read_on and total is not None else None
    return _counted(Limit.HOURS, due, due.plan.every_hours, due.last_done_hours, read, use_of(device).hours_a_week)


def _cycles(due: Due) -> Reach | None:
    if due.plan.every_cycles is None:
        return None
    use = use_of(due.device)
    read = (use.cycles_on, Decimal(use.cycles)) if use.cycles_on and use.cycles is not None else None
    start = None if due.last_done_cycles is None else Decimal(due.last_done_cycles)
    return _counted(Limit.CYCLES, due, due.plan.every_cycles, start, read, use.cycles_a_week)


def _counted(  # noqa: PLR0913, PLR0917 - a limit, its due and interval, and three facts of the counter
    limit: Limit,
    due: Due,
    every: int,
    start: Decimal | None,
    read: tuple[date, Decimal] | None,
    a_week: float | None,
) -> Reach:
    """A counter's limit at its recent rate, else at its mean rate since the work was last done."""
    if start is None or read is None:
        return Reach(limit, None, every)
    read_on, total = read
    used, since = float(total - start), due.last_done_on or due.anchor
    if a_week is None and read_on > since:
        a_week = used / (read_on - since).days * _DAYS_A_WEEK
    day = calendar.next_due_by_count(0.0, float(every), used, (a_week or 0.0) / _DAYS_A_WEEK, read_on)
    return Reach(limit, day, every, used, a_week)


def rate_a_week(device_id: int, counter: str) -> float | None:
    """How much a driver's counter gains in a week by its newest readings; None where there are too few."""
    return rates_a_week([device_id], counter)[device_id]


def rates_a_week(device_ids: Collection[int], counter: str) -> dict[int, float | None]:
    """The same for several drivers, asked at once."""
    read: dict[int, list[tuple[date, float]]] = {pk: [] for pk in device_ids}
    rows = CounterReading.objects.filter(device__in=device_ids, counter=counter).order_by("read_on")
    for pk, day, total in rows.values_list("device", "read_on", "total"):
        read[pk].append((day, float(total)))
    rates = {pk: calendar.recent_rate(readings) for pk, readings in read.items()}
    return {pk: None if a_day is None else a_day * _DAYS_A_WEEK for pk, a_day in rates.items()}
