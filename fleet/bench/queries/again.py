"""Drivers that come back for repair: told where the repair begins, and counted over a period."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Final

from fleet.bench.models import Order, OrderKind, OrderQuerySet
from fleet.bench.queries.turnaround import DAY, day_begins
from fleet.core.orders import ABSENT_OUTCOMES, OrderState
from fleet.people.models import Person

#: A repair reported so soon after another came back. Our own choice, no source.
AGAIN_DAYS: Final = 90


@dataclass(frozen=True, slots=True)
class Return:
    """A repair, and the last one before it on the same driver, that ended at most `AGAIN_DAYS` before its report."""

    order: Order
    before: Order

    @property
    def same_finding(self) -> bool:
        """Whether both found the same, by their codes; "nothing" is the same too."""
        return bool(self.order.found) and self.order.found == self.before.found


@dataclass(frozen=True, slots=True)
class CameBack:
    """Of the repairs finished in a period those that came back from an earlier one, the last first.

    `by_person`: for whoever ended the earlier repair, how many came back and how many of these found the same again.
    That repairs repeated by the same person for the same problem are told, is asked for by the WHO guidance of 2011 on
    computerized records of maintenance, table 2.
    """

    returns: list[Return]
    by_person: list[tuple[str, int, int]]

    @property
    def same(self) -> int:
        """How many found the same again."""
        return sum(each.same_finding for each in self.returns)


def repaired_before(order: Order) -> list[Order]:
    """The repairs of its driver that ended at most `AGAIN_DAYS` before a repair was reported, the last first."""
    if order.kind != OrderKind.CORRECTIVE:
        return []
    reported = _reported(order)
    rows = _repairs().filter(device=order.device_id, completed_at__lte=reported).exclude(pk=order.pk)
    return list(rows.filter(completed_at__gte=reported - timedelta(days=AGAIN_DAYS)).order_by("-completed_at", "-pk"))


def came_back(first: date, last: date, person: Person) -> CameBack:
    """What came back among the repairs finished from `first` to `last`, both included. One query."""
    start, end = day_begins(first), day_begins(last + DAY)
    # A repair may take long: what it came back from lies up to the days before its report.
    rows = _repairs().within(person).filter(completed_at__lt=end).order_by("device", "completed_at", "pk")
    held: dict[int, list[Order]] = defaultdict(list)
    for row in rows.select_related("tag", "device", "completed_by"):
        held[row.device_id].append(row)
    found = [each for orders in held.values() for each in _returns(orders) if _done(each.order) >= start]
    return CameBack(sorted(found, key=lambda each: _done(each.order), reverse=True), _by_person(found))


def _repairs() -> OrderQuerySet:
    rows = Order.objects.filter(kind=OrderKind.CORRECTIVE.value, state=OrderState.DONE.value)
    return rows.exclude(outcome__in=[each.value for each in ABSENT_OUTCOMES])


def _returns(orders: list[Order]) -> Iterable[Return]:
    for before, order in pairwise(orders):
        if timedelta(0) <= _reported(order) - _done(before) <= timedelta(days=AGAIN_DAYS):
            yield Return(order, before)


def _by_person(found: list[Return]) -> list[tuple[str, int, int]]:
    many, same = Counter[str](), Counter[str]()
    for each in found:
        name = str(each.before.completed_by or "Nobody named")
        many[name] += 1
        same[name] += each.same_finding
    return [(name, number, same[name]) for name, number in sorted(many.items(), key=lambda row: (-row[1], row[0]))]


def _reported(order: Order) -> datetime:
    return min(order.raised_at, order.tag.opened_at) if order.tag else order.raised_at


def _done(order: Order) -> datetime:
    return order.completed_at or order.raised_at
