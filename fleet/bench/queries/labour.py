"""Who spent which hours on what, how soon a driver was taken in, and how soon something was found.

Hours are the minutes that people entered or timed on orders; nobody's presence is measured.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from statistics import median
from typing import Final

from django.db.models import Min, Sum

from fleet.bench.models import Labour, Order, OrderKind, PartUse, Reading
from fleet.bench.queries.turnaround import finished_orders, reported_at
from fleet.people.models import Person

_AN_HOUR: Final = timedelta(hours=1)
_MINUTES_AN_HOUR: Final = 60
_WRONG: Final = (Reading.Verdict.FAIL.value, Reading.Verdict.NOT_PROVEN.value)
#: Minutes that a command or an import entered are nobody's.
NOBODY: Final = "Nobody named"


@dataclass(frozen=True, slots=True)
class Hours:
    """What one person, or all together, entered: minutes by activity."""

    name: str
    minutes: dict[str, int] = field(default_factory=dict)

    @property
    def by_activity(self) -> list[float]:
        """Hours of each activity, in the order of `Labour.Activity`."""
        return [self.minutes.get(activity, 0) / _MINUTES_AN_HOUR for activity in Labour.Activity.values]

    @property
    def total(self) -> float:
        """Hours in all."""
        return sum(self.minutes.values()) / _MINUTES_AN_HOUR

    @property
    def waiting(self) -> float | None:
        """The share that was waiting; None without any hours."""
        total = sum(self.minutes.values())
        return self.minutes.get(Labour.Activity.WAITING.value, 0) / total if total else None


@dataclass(frozen=True, slots=True)
class Speed:
    """Median hours by the calendar, each with of how many orders it is known; None where of none.

    `response`, of orders with a tag: from the ward's report to the reception. `found`, of repairs: from the reception
    to the first step that failed or was not proven, or the first part issued, whichever came first.
    """

    response: float | None
    responded: int
    found: float | None
    found_in: int
    repairs: int


@dataclass(frozen=True, slots=True)
class Spent:
    """The hours and the speed of a period."""

    overall: Hours
    by_person: list[Hours]
    speed: Speed


def labour(first: date, last: date, person: Person, *, kind: str = "") -> Spent:
    """The hours on the orders that `turnaround` counts for the same period, and how soon they were taken in hand."""
    orders = finished_orders(first, last, person, kind)
    rows = Labour.objects.filter(order__in=[order.pk for order in orders]).order_by()
    overall, each = Hours("All"), dict[int | None, Hours]()
    summed = rows.values_list("person", "person__display_name", "activity").annotate(total=Sum("minutes"))
    for pk, name, activity, minutes in summed:
        own = each.setdefault(pk, Hours(name or NOBODY))
        for held in (overall, own):
            held.minutes[activity] = held.minutes.get(activity, 0) + minutes
    return Spent(overall, sorted(each.values(), key=lambda row: (-row.total, row.name)), _speed(orders))


def _speed(orders: list[Order]) -> Speed:
    responses = [order.received_at - reported_at(order) for order in orders if order.tag and order.received_at]
    repairs = [order for order in orders if order.kind == OrderKind.CORRECTIVE and order.received_at]
    signs = _first_signs([order.pk for order in repairs])
    found = [signs[order.pk] - order.received_at for order in repairs if order.received_at and order.pk in signs]
    return Speed(_median(responses), len(responses), _median(found), len(found), len(repairs))


def _first_signs(ids: list[int]) -> dict[int, datetime]:
    """When each order first had a step that failed, or a part."""
    failed = Reading.objects.filter(order__in=ids, verdict__in=_WRONG).order_by().values_list("order")
    parts = PartUse.objects.filter(order__in=ids).order_by().values_list("order")
    found: dict[int, datetime] = {}
    for order, at in [*failed.annotate(at=Min("taken_at")), *parts.annotate(at=Min("entered_at"))]:
        found[order] = min(at, found.get(order, at))
    return found


def _median(spans: Iterable[timedelta]) -> float | None:
    hours = [max(span, timedelta()) / _AN_HOUR for span in spans]
    return median(hours) if hours else None
