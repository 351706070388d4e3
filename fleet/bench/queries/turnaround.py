"""How long the bench takes: from report to return by the calendar, hands-on minutes, and what was spent waiting.

Calendar time and hands-on time are told apart, as the published guidance advises: a driver that waits three weeks for
a part of ten minutes' work is not slow work.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from statistics import median

from django.db.models import Sum
from django.utils import timezone

from fleet.audit.models import TrailEntry
from fleet.bench.models import Labour, Order
from fleet.core.orders import ABSENT_OUTCOMES, OrderState
from fleet.people.models import Person

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Line:
    """Orders of one site, one type, or all. Days by the calendar, minutes hands-on; medians, None without an order.

    `waiting` is the part of all calendar time that orders were set aside; `untimed` counts orders without minutes,
    which the median of minutes leaves out.
    """

    name: str
    orders: int
    days: float | None
    minutes: float | None
    untimed: int
    waiting: float | None
    key: int | None = None


@dataclass(frozen=True, slots=True)
class Turnaround:
    """The bench over a period: altogether, by site and by type (the slowest first), and by month of completion.

    A month's name is its year and number, "2027-03"; a month without an order is left out.
    """

    overall: Line
    by_site: list[Line]
    by_type: list[Line]
    by_month: list[Line]


@dataclass(frozen=True, slots=True)
class _Job:
    order: Order
    took: timedelta
    waited: timedelta
    minutes: int | None


def turnaround(first: date, last: date, person: Person, *, kind: str = "") -> Turnaround:
    """Orders finished on the days `first` to `last`, both included, whose driver was returned or kept on the bench.

    Orders that ended without the driver (not located, retired) are left out. Each takes from the ward's report (else
    from when it was raised) to when it was completed. Three queries.
    """
    jobs = _jobs(finished_orders(first, last, person, kind))
    return Turnaround(
        _line("All", jobs),
        _lines(jobs, lambda job: (str(job.order.device.home.site), job.order.device.home.site_id)),
        _lines(jobs, lambda job: (str(job.order.device.device_type), job.order.device.device_type_id)),
        sorted(_lines(jobs, lambda job: (_month(job.order), None)), key=lambda line: line.name),
    )


def day_begins(day: date) -> datetime:
    """Midnight at the hospital with which a day begins."""
    return timezone.make_aware(datetime.combine(day, time.min))


def _month(order: Order) -> str:
    return f"{timezone.localtime(order.completed_at):%Y-%m}"


def finished_orders(first: date, last: date, person: Person, kind: str = "") -> list[Order]:
    """The orders that figures of a period count: finished in it, and not without the driver."""
    rows = Order.objects.within(person).filter(
        state=OrderState.DONE.value, completed_at__gte=day_begins(first), completed_at__lt=day_begins(last + DAY)
    )
    rows = rows.exclude(outcome__in=[outcome.value for outcome in ABSENT_OUTCOMES])
    rows = rows.filter(kind=kind) if kind else rows
    return list(rows.select_related("tag", "device__home__site", "device__device_type__maker"))


def _jobs(orders: list[Order]) -> list[_Job]:
    ids = [order.pk for order in orders]
    hands_on = Labour.objects.filter(order__in=ids).exclude(activity=Labour.Activity.WAITING)
    minutes = dict(hands_on.order_by().values_list("order").annotate(total=Sum("minutes")))
    waited = waiting_times(ids)
    return [
        _Job(
            order,
            order.completed_at - reported_at(order) if order.completed_at else timedelta(),
            waited.get(order.pk, timedelta()),
            minutes.get(order.pk),
        )
        for order in orders
    ]


def reported_at(order: Order) -> datetime:
    """When the ward reported, or when the order was raised where that came first."""
    return min(order.raised_at, order.tag.opened_at) if order.tag else order.raised_at


def waiting_times(order_ids: Iterable[int]) -> dict[int, timedelta]:
    """How long each order was set aside in all, read from the trail; orders never set aside are left out."""
    entries = TrailEntry.objects.filter(
        subject_kind="order", subject_id__in=list(order_ids), after__has_key="state"
    ).order_by("subject_id", "pk")
    waited: dict[int, timedelta] = {}
    since: dict[int, datetime] = {}
    for entry in entries.only("subject_id", "done_at", "after"):
        order = entry.subject_id or 0
        if entry.after["state"] == OrderState.WAITING.value:
            since[order] = entry.done_at
        elif order in since:
            waited[order] = waited.get(order, timedelta()) + (entry.done_at - since.pop(order))
    return waited


def _lines(jobs: list[_Job], group: Callable[[_Job], tuple[str, int | None]]) -> list[Line]:
    groups: dict[tuple[str, int | None], list[_Job]] = {}
    for job in jobs:
        groups.setdefault(group(job), []).append(job)
    lines = [_line(name, held, key) for (name, key), held in groups.items()]
    return sorted(lines, key=lambda line: (-(line.days or 0), line.name))


def _line(name: str, jobs: list[_Job], key: int | None = None) -> Line:
    took = sum((job.took for job in jobs), timedelta())
    waited = sum((job.waited for job in jobs), timedelta())
    timed = [job.minutes for job in jobs if job.minutes is not None]
    return Line(
        name=name,
        orders=len(jobs),
        days=median(job.took / DAY for job in jobs) if jobs else None,
        minutes=median(timed) if timed else None,
        untimed=len(jobs) - len(timed),
        waiting=waited / took if took else None,
        key=key,
    )
