"""What came of the orders of a period."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from fractions import Fraction

from django.db.models import Count
from django.utils import timezone

from fleet.bench.models import Order, OrderKind
from fleet.core.orders import OrderState, Outcome
from fleet.core.share import share
from fleet.people.models import Person


@dataclass(frozen=True, slots=True)
class Outcomes:
    """How many finished orders of one kind had which outcome."""

    counts: Mapping[Outcome, int]

    @property
    def orders(self) -> int:
        """All of them."""
        return sum(self.counts.values())

    def share(self, outcome: Outcome) -> Fraction | None:
        """The part with this outcome; None without an order."""
        return share(self.counts[outcome], self.orders)


def outcomes(first: date, last: date, person: Person, kind: str = OrderKind.CORRECTIVE) -> Outcomes:
    """Count orders of a kind finished from `first` to `last`, both included, by outcome. One query.

    The rate of no fault found is told of repairs only: planned work finds nothing as a rule. Definition: common
    practice, no source.
    """
    zone = timezone.get_current_timezone()
    start, end = (datetime.combine(day, time.min, zone) for day in (first, last + timedelta(days=1)))
    rows = Order.objects.within(person).filter(
        kind=kind, state=OrderState.DONE.value, completed_at__gte=start, completed_at__lt=end
    )
    found = dict(rows.order_by().values_list("outcome").annotate(Count("pk")))
    return Outcomes({outcome: found.get(outcome.value, 0) for outcome in Outcome})
