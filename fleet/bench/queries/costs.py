"""What orders cost: parts and packs at the price of their day, minutes at the hour's price of theirs, outside costs."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django.db.models import Case, Count, DecimalField, F, Q, QuerySet, Sum, Value, When
from django.db.models.functions import TruncMonth

from fleet.bench.models import ExternalCost, Labour, LabourRate, Order, PackFitted, PartUse
from fleet.bench.queries.turnaround import day_begins

_MONEY: Final = DecimalField(max_digits=14, decimal_places=4)
_NONE: Final = Decimal(0)
_CENT: Final = Decimal("0.01")
MINUTES_AN_HOUR: Final = 60


@dataclass(frozen=True, slots=True)
class Cost:
    """What work cost, in the hospital's currency; `minutes` of it; `unpriced`: parts and packs without a price."""

    parts: Decimal = _NONE
    packs: Decimal = _NONE
    labour: Decimal = _NONE
    external: Decimal = _NONE
    minutes: int = 0
    unpriced: int = 0

    @property
    def total(self) -> Decimal:
        """All together."""
        return self.parts + self.packs + self.labour + self.external

    def __add__(self, other: "Cost") -> "Cost":
        return Cost(
            self.parts + other.parts,
            self.packs + other.packs,
            self.labour + other.labour,
            self.external + other.external,
            self.minutes + other.minutes,
            self.unpriced + other.unpriced,
        )


def cost_of(order: Order) -> Cost:
    """What one order has cost so far."""
    return costs_by(Order.objects.filter(pk=order.pk), "pk").get((order.pk,), Cost())


def costs_by(orders: QuerySet[Order], *lookups: str) -> dict[tuple[Any, ...], Cost]:
    """What the orders cost, summed by lookups from the order ("kind", "device__device_type"; "month": when finished).

    Keys are tuples in the order of the lookups; a group that cost nothing is absent.
    """
    used = F("quantity") - F("returned")
    parts = _grouped(PartUse.objects.all(), orders, lookups).annotate(
        money=Sum(used * F("price"), output_field=_MONEY), count=Sum(used, filter=Q(price__isnull=True))
    )
    packs = _grouped(PackFitted.objects.all(), orders, lookups).annotate(
        money=Sum("price", output_field=_MONEY), count=Count("pk", filter=Q(price__isnull=True))
    )
    labour = _grouped(Labour.objects.all(), orders, lookups).annotate(
        money=Sum(F("minutes") * price_a_minute("entered_at"), output_field=_MONEY), count=Sum("minutes")
    )
    external = _grouped(ExternalCost.objects.filter(voided_at__isnull=True), orders, lookups).annotate(
        money=Sum("amount", output_field=_MONEY), count=Count("pk")
    )
    found: dict[tuple[Any, ...], Cost] = {}
    for *key, money, count in parts:
        _add(found, key, Cost(parts=_money(money), unpriced=count or 0))
    for *key, money, count in packs:
        _add(found, key, Cost(packs=_money(money), unpriced=count or 0))
    for *key, money, count in labour:
        _add(found, key, Cost(labour=_money(money), minutes=count or 0))
    for *key, money, _count in external:
        _add(found, key, Cost(external=_money(money)))
    return found


def packs_alone(packs: QuerySet[PackFitted], *lookups: str) -> dict[tuple[Any, ...], Cost]:
    """What those of the packs that were fitted without an order cost, by lookups from the row or their "month".

    Keys are tuples in the order of the lookups, a month its first day; a group without such a pack is absent.
    """
    named: dict[str, Any] = {f"by_{each}": TruncMonth("fitted_on") if each == "month" else F(each) for each in lookups}
    grouped: QuerySet[Any, Any] = packs.filter(order__isnull=True).order_by().annotate(**named).values_list(*named)
    rows = grouped.annotate(money=Sum("price", output_field=_MONEY), count=Count("pk", filter=Q(price__isnull=True)))
    return {tuple(key): Cost(packs=_money(money), unpriced=count) for *key, money, count in rows}


def _grouped(rows: QuerySet[Any], orders: QuerySet[Order], lookups: Sequence[str]) -> QuerySet[Any, Any]:
    """The rows of those orders by lookups; `values_list` before the sums groups them."""
    month = TruncMonth("order__completed_at")
    named: dict[str, Any] = {f"by_{each}": month if each == "month" else F(f"order__{each}") for each in lookups}
    held = rows.filter(order__in=orders.order_by()).order_by()
    grouped: QuerySet[Any, Any] = held.annotate(**named).values_list(*named)
    return grouped


def price_a_minute(moment: str) -> Case:
    """The price of a minute at a moment (the name of its column), by the rates on record; 0 before the first."""
    rates = LabourRate.objects.order_by("-from_on")
    steps = [
        When(**{f"{moment}__gte": day_begins(rate.from_on)}, then=Value(rate.per_hour / MINUTES_AN_HOUR))
        for rate in rates
    ]
    return Case(*steps, default=Value(_NONE), output_field=_MONEY)


def rates() -> QuerySet[LabourRate]:
    """What an hour costs, the newest first."""
    return LabourRate.objects.order_by("-from_on")


def _add(found: dict[tuple[Any, ...], Cost], key: Sequence[Any], more: Cost) -> None:
    found[tuple(key)] = found.get(tuple(key), Cost()) + more


def _money(value: Any) -> Decimal:
    return Decimal(value or 0).quantize(_CENT)
