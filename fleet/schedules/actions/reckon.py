"""The next window of a due, reckoned from its plan, its anchor, what was last done and the driver's counter."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import Any, Final

from fleet.audit.changes import Changes, change
from fleet.audit.models import TrailEntry
from fleet.core import due as calendar
from fleet.registry.models import Device
from fleet.schedules.models import Due
from fleet.schedules.queries import reaches
from fleet.web import clock

#: A plan by counters whose date cannot be told (counter never read, driver not used) falls due after so many months,
#: so that somebody reads the counter. Our own rule, no source.
COUNTER_CHECK_MONTHS: Final = 12


def reckoned(due: Due) -> calendar.Window:
    """The window that plan and history give, whichever of months, running hours and charge cycles comes first.

    The first due of a driver that was on record before the plan lies on the day the plan was added or later: nobody
    could do before what it asks for, and no finished period changes. A stated last service is counted from as it is.
    """
    plan = due.plan
    days = [reach.day for reach in reaches(due)]
    day = calendar.earliest(*days) or calendar.add_months(due.last_done_on or due.anchor, COUNTER_CHECK_MONTHS)
    added = _added_to(due) if due.last_done_on is None and day < clock.today() else None
    if added and day < added:
        return calendar.window(added, 0, plan.window_after_days)
    return calendar.window(day, plan.window_before_days, plan.window_after_days)


def _added_to(due: Due) -> date | None:
    """The day its plan was added, where the driver was on record by then; told by the trail, which never changes."""
    added = due.plan.added
    if added is None or not TrailEntry.objects.filter(device_ref=due.device_id, pk__lt=added.pk).exists():
        return None
    return clock.local_day(added.entered_at)


def late_since(closes: date, today: date) -> date | None:
    """The first late day of a window that closes on `closes`; None while it isn't late."""
    return closes + timedelta(days=1) if calendar.is_late(closes, today) else None


def place(due: Due, span: calendar.Window, today: date, **more: Any) -> Changes:
    """Set a due's window, its lateness and `more` fields; give what changed. A planned week outside it is given up."""
    stands = late_since(span.closes, today)
    kept = {"planned_for": still_planned(due.planned_for, span)} | more
    return change(due, due_on=span.due, opens_on=span.opens, closes_on=span.closes, late_since=stands, **kept)


def still_planned(planned: date | None, span: calendar.Window) -> date | None:
    """The planned week if a working day of it still lies in the window, from that day on; None otherwise."""
    if planned is None:
        return None
    monday = calendar.monday_of(planned)
    meets = span.opens - timedelta(days=4) <= monday <= span.closes
    return max(planned if planned <= span.closes else monday, span.opens) if meets else None


def locked_due(due: Due) -> Due:
    """The due read again under lock; its driver is locked first, as everywhere, so that two actions can't cross."""
    lock_devices([due.device_id])
    return Due.objects.select_for_update(of=("self",)).select_related("plan", "device__use").get(pk=due.pk)


def lock_devices(device_ids: Collection[int]) -> None:
    """Lock several drivers, lowest id first, so that no two actions wait for each other."""
    list(Device.objects.select_for_update().filter(pk__in=device_ids).order_by("pk").values_list("pk", flat=True))
