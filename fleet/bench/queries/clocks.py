"""Reading the clocks that run on orders."""

from datetime import datetime

from django.db.models import QuerySet

from fleet.bench.models import LabourClock, Order


def running_clock(person_id: int) -> LabourClock | None:
    """The clock that runs for a person, on whatever order."""
    rows = LabourClock.objects.filter(person_id=person_id, stopped_at__isnull=True)
    return rows.select_related("order__device").first()


def clocks_on(order: Order) -> QuerySet[LabourClock]:
    """The clocks that run on an order."""
    return order.clocks.filter(stopped_at__isnull=True).select_related("person")


def minutes_shown(running: LabourClock, now: datetime) -> int:
    """Whole minutes that a clock shows, begun ones counted; at least one."""
    return max(1, -int((running.started_at - now).total_seconds() // 60))
