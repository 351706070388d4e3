"""The packs of a type as a whole: what the night expects of them, what is in stock, and how they stand today."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any, Final

from django.db.models import Count, Q, QuerySet

from fleet.batteries.models import Fitting, Forecast, Pack, PackPurchase, PackSupply, TypeOutlook
from fleet.batteries.queries.asked import Asked, asked_by_type
from fleet.batteries.queries.outlook import ASSUMED_LIMIT, TypeCounts, counted, forecasts, never_tested
from fleet.core.battery.arrays import IntArray
from fleet.core.battery.stock import total_for
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import DeviceType
from fleet.schedules.models import Plan
from fleet.web import clock

#: Bands of the runtime fraction, from and below, with their words.
BANDS: Final = (
    (0.95, None, "95 % and over"),
    (0.90, 0.95, "90 to 95 %"),
    (0.85, 0.90, "85 to 90 %"),
    (0.80, 0.85, "80 to 85 %"),
    (None, 0.80, "Under 80 %"),
)
UNKNOWN: Final = "Not known"


@dataclass(frozen=True, slots=True)
class Demand:
    """The packs needed by month, as the night wrote it, one number a month in each list.

    `totals` (by the chance that they are enough) and `total_expected` count from now to each month's end.
    """

    months: tuple[date, ...]
    expected: Sequence[float]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]
    totals: dict[str, Sequence[int]]
    total_expected: Sequence[float]

    def since(self, today: date) -> "Demand":
        """Without the months that are over: the hours from a month's end until the night works the demand out anew."""
        first = date(today.year, today.month, 1)
        over = sum(month < first for month in self.months)
        return Demand(
            months=self.months[over:],
            expected=self.expected[over:],
            low=self.low[over:],
            middle=self.middle[over:],
            high=self.high[over:],
            totals={level: numbers[over:] for level, numbers in self.totals.items()},
            total_expected=self.total_expected[over:],
        )

    def total(self, level: float) -> IntArray:
        """Packs that are enough up to each month's end with at least this chance."""
        return total_for(self.totals, level)


@dataclass(frozen=True)
class TypeStand:
    """A type with its outlook (None before the first night), its supply, packs in stock, and what limits ask for."""

    device_type: DeviceType
    outlook: TypeOutlook | None
    supply: PackSupply
    on_shelf: int
    fitted: int
    asked: Asked
    purchases: Sequence[PackPurchase] = ()

    @property
    def coming(self) -> int:
        """Packs on order that have not come."""
        return sum(row.outstanding for row in self.purchases)

    @cached_property
    def demand(self) -> Demand | None:
        """The demand of the last night; None where there is no forecast."""
        return demand(self.outlook) if self.outlook and self.outlook.demand.get("months") else None


def demand(outlook: TypeOutlook) -> Demand:
    """The demand in a type's outlook."""
    held: dict[str, Any] = outlook.demand
    return Demand(
        months=tuple(date.fromisoformat(f"{month}-01") for month in held["months"]),
        expected=held["expected"],
        low=held["low"],
        middle=held["middle"],
        high=held["high"],
        totals=held["total"],
        total_expected=held["total_expected"],
    )


def types_with_packs() -> QuerySet[DeviceType]:
    """The types with a fitted pack."""
    return DeviceType.objects.filter(power=DeviceType.Power.FITTED_PACK).select_related("maker")


def stands() -> list[TypeStand]:
    """Every type with a fitted pack, the one with the most packs first."""
    types = types_with_packs().select_related("battery_outlook", "pack_supply").prefetch_related("rated_runtimes")
    shelf = _counted(Pack.objects.filter(state=Pack.State.STOCK))
    fitted = _counted(Pack.objects.filter(state=Pack.State.FITTED))
    asked = asked_by_type(clock.today())
    purchases: dict[int, list[PackPurchase]] = {}
    for row in open_purchases():
        purchases.setdefault(row.device_type_id, []).append(row)
    rows = [
        TypeStand(
            device_type=each,
            outlook=_outlook(each),
            supply=_supply(each),
            on_shelf=shelf.get(each.pk, 0),
            fitted=fitted.get(each.pk, 0),
            asked=asked.get(each.pk, Asked()),
            purchases=purchases.get(each.pk, ()),
        )
        for each in types
    ]
    return sorted(rows, key=lambda row: (-row.fitted, str(row.device_type)))


def supply_of(device_type: DeviceType) -> PackSupply:
    """How a type's packs are bought; the usual (not on record) until somebody states it."""
    return PackSupply.objects.filter(device_type=device_type).first() or PackSupply(device_type=device_type)


def open_purchases() -> QuerySet[PackPurchase]:
    """Packs on order that have not all come, the first expected first."""
    return PackPurchase.objects.filter(closed_on__isnull=True).select_related("device_type__maker", "supplier")


def on_shelf(device_type: DeviceType) -> int:
    """Packs of a type in stock: those that were never fitted."""
    return Pack.objects.filter(for_type=device_type, state=Pack.State.STOCK).count()


def pack_price(device_type: DeviceType) -> Decimal | None:
    """What a pack of the type costs: as stated, else the middle of what those on record cost; None where unknown."""
    stated = supply_of(device_type).price
    if stated is not None:
        return stated
    prices = Pack.objects.filter(for_type=device_type, price__isnull=False).order_by("price")
    known = prices.values_list("price", flat=True)
    count = len(known)
    return known[count // 2] if count else None


def _counted(packs: QuerySet[Pack]) -> dict[int, int]:
    return dict(packs.order_by().values_list("for_type").annotate(Count("pk")))


def _outlook(device_type: DeviceType) -> TypeOutlook | None:
    return getattr(device_type, "battery_outlook", None)


def _supply(device_type: DeviceType) -> PackSupply:
    return getattr(device_type, "pack_supply", None) or PackSupply(device_type=device_type)


def bands(person: Person, device_type: DeviceType) -> list[tuple[str, int]]:
    """How many of the person's packs of a type in service lie in each band today, and of how many that is unknown."""
    held = {f"band{number}": Count("pk", filter=_between(low, high)) for number, (low, high, _) in enumerate(BANDS)}
    found = forecasts(person).filter(device__device_type=device_type).aggregate(**held)
    in_service = Fitting.objects.within(person).filter(
        removed_on__isnull=True, device__condition=Condition.IN_SERVICE, device__device_type=device_type
    )
    rows = [(words, found[f"band{number}"]) for number, (_, _, words) in enumerate(BANDS)]
    return [*rows, (UNKNOWN, max(in_service.count() - sum(count for _, count in rows), 0))]


def _between(low: float | None, high: float | None) -> Q:
    over = Q() if low is None else Q(fraction_today__gte=low)
    return over if high is None else over & Q(fraction_today__lt=high)


def counts_of(person: Person, device_type: DeviceType) -> TypeCounts:
    """How many of the person's drivers of a type stand in the lists of batteries."""
    found = counted(forecasts(person).filter(device__device_type=device_type))
    return TypeCounts(
        will_not_last=found["will_not_last"],
        already_below=found["below"],
        at_once=found["at_once"],
        at_visit=found["at_visit"],
        never_tested=never_tested(person).filter(device__device_type=device_type).count(),
    )


def visit_months(device_type: DeviceType) -> int | None:
    """Months between two visits by the type's plans: the shortest that counts; None without one."""
    plans = Plan.objects.filter(device_type=device_type, active=True, every_months__isnull=False)
    return plans.order_by("every_months").values_list("every_months", flat=True).first()


def limit_in_force(device_type: DeviceType) -> float:
    """The risk limit that holds for most of a type's packs by the last night; the built-in one before the first."""
    rows = Forecast.objects.filter(device__device_type=device_type, limit__isnull=False).order_by()
    most = rows.values_list("limit").annotate(held=Count("pk")).order_by("-held", "limit").first()
    return float(most[0]) if most else ASSUMED_LIMIT
