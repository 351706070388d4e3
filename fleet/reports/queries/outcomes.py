"""What came of the orders of a period."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

from django.db.models import Count

from fleet.bench.models import Order, OrderKind, OrderQuerySet
from fleet.bench.queries import day_begins
from fleet.core.orders import OrderState, Outcome
from fleet.core.proportion import Proportion, proportion
from fleet.core.share import share
from fleet.people.models import Person
from fleet.registry.models import DeviceType, Place


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


def outcomes(first: date, last: date, person: Person) -> Outcomes:
    """Count repairs finished from `first` to `last`, both included, by outcome. One query.

    The rate of no fault found is told of repairs only: planned work finds nothing as a rule. Definition: common
    practice, no source.
    """
    rows = _repairs(first, last, person)
    found = dict(rows.order_by().values_list("outcome").annotate(Count("pk")))
    return Outcomes({outcome: found.get(outcome.value, 0) for outcome in Outcome})


@dataclass(frozen=True, slots=True)
class OutcomeLine:
    """The repairs of one home place, one type, or all: how many had which outcome."""

    name: str
    counts: Counter[str]
    key: int | None = None

    @property
    def orders(self) -> int:
        """All of them."""
        return self.counts.total()

    def share_of(self, outcome: Outcome) -> Proportion | None:
        """The part with this outcome, with its interval; None without a repair."""
        return proportion(self.counts[outcome.value], self.orders)


@dataclass(frozen=True, slots=True)
class Repairs:
    """What came of the repairs of a period: by home place and by type, most repairs first, and their codes.

    `codes` counts, for each of the fields `found`, `cause_kind` and `action_kind`, every code, "" for not stated.
    `use_related` are the orders themselves, by home place, the last first: what a ward can be taught by.
    """

    overall: OutcomeLine
    by_home: list[OutcomeLine]
    by_type: list[OutcomeLine]
    codes: Mapping[str, Counter[str]]
    use_related: list[Order]


#: What a repair states in codes.
CODES: Final = ("found", "cause_kind", "action_kind")


def repairs(first: date, last: date, person: Person) -> Repairs:
    """The repairs finished from `first` to `last`, both included, those without the driver too. Four queries.

    That use-related faults are told apart, and by department, is asked for by the WHO guidance of 2011 on computerized
    records of maintenance, table 2; the outcomes and codes are our own.
    """
    rows = _repairs(first, last, person)
    by_home, by_type = defaultdict[int, Counter[str]](Counter), defaultdict[int, Counter[str]](Counter)
    codes: dict[str, Counter[str]] = {field: Counter() for field in CODES}
    keys = ("device__home", "device__device_type", "outcome", *CODES)
    for home, device_type, outcome, *stated, many in rows.order_by().values_list(*keys).annotate(Count("pk")):
        by_home[home][outcome] += many
        by_type[device_type][outcome] += many
        for field, code in zip(CODES, stated, strict=True):
            codes[field][code] += many
    homes = Place.objects.select_related("site").in_bulk(by_home)
    types = DeviceType.objects.select_related("maker").in_bulk(by_type)
    return Repairs(
        OutcomeLine("All", sum(by_home.values(), Counter())),
        _most_first(OutcomeLine(_placed(homes[key]), counts, key) for key, counts in by_home.items()),
        _most_first(OutcomeLine(str(types[key]), counts, key) for key, counts in by_type.items()),
        codes,
        list(
            rows.filter(outcome=Outcome.USE_RELATED.value)
            .select_related("device__home__site")
            .order_by("device__home__name", "device__home", "-completed_at")
        ),
    )


def _repairs(first: date, last: date, person: Person) -> OrderQuerySet:
    return Order.objects.within(person).filter(
        kind=OrderKind.CORRECTIVE.value,
        state=OrderState.DONE.value,
        completed_at__gte=day_begins(first),
        completed_at__lt=day_begins(last + timedelta(days=1)),
    )


def _most_first(lines: Iterable[OutcomeLine]) -> list[OutcomeLine]:
    return sorted(lines, key=lambda line: (-line.orders, line.name))


def _placed(place: Place) -> str:
    return f"{place}, {place.site}" if place.site_id not in {None, place.pk} else str(place)
