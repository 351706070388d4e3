"""What finished work cost: by type, kind, month and year, against a driver's price; how often parts are replaced."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from django.db.models import Count, F, Q, QuerySet, Sum
from django.utils import timezone

from fleet.bench.models import Order, OrderKind, OrderQuerySet, PackFitted, PartUse
from fleet.bench.queries import Cost, costs_by, day_begins, orders, packs_alone
from fleet.core.orders import OrderState
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import devices, types
from fleet.stores.models import Part
from fleet.web import clock

#: How many of the dearest drivers are listed.
DEAREST: Final = 20
#: Stands for no kind of order, where packs were fitted without one.
_ALONE: Final = ""
_DAYS_A_YEAR: Final = 365.25


@dataclass(frozen=True, slots=True)
class CostLine:
    """A group of finished orders with what they cost; `key` is what they are grouped by."""

    name: str
    key: Any
    orders: int
    cost: Cost

    @property
    def each(self) -> Decimal | None:
        """What one order cost on average; None for none."""
        return self.cost.total / self.orders if self.orders else None


@dataclass(frozen=True, slots=True)
class DriverCost:
    """What a driver has cost in all its finished orders, beside its price (None where nobody stated one)."""

    device: Device
    orders: int
    cost: Cost
    price: Decimal | None

    @property
    def share(self) -> Decimal | None:
        """The cost as a share of the price."""
        return self.cost.total / self.price if self.price else None

    @property
    def a_year(self) -> Decimal | None:
        """What it cost a year since its acceptance, of its price; None before its first year is over."""
        since = self.device.accepted_on
        days = ((self.device.retired_on or clock.today()) - since).days if since else 0
        return self.share * Decimal(_DAYS_A_YEAR) / days if self.share is not None and days >= _DAYS_A_YEAR else None


@dataclass(frozen=True, slots=True)
class Costs:
    """What work of a period cost. `months`: for each type, what it cost by the first day of each month."""

    overall: CostLine
    by_type: list[CostLine]
    by_kind: list[CostLine]
    by_year: list[CostLine]
    months: dict[int, dict[date, Decimal]]


def finished(first: date, last: date, person: Person) -> OrderQuerySet:
    """The person's orders finished from the first day to the last."""
    rows: OrderQuerySet = Order.objects.within(person).filter(
        state=OrderState.DONE.value,
        completed_at__gte=day_begins(first),
        completed_at__lt=day_begins(date.fromordinal(last.toordinal() + 1)),
    )
    return rows


def costs(first: date, last: date, person: Person) -> Costs:
    """What the person's finished work of a period cost, and the packs that were fitted in it without an order."""
    found = finished(first, last, person)
    named = {each.pk: str(each) for each in types()}
    alone = _packs(person).filter(fitted_on__gte=first, fitted_on__lte=last)
    of_orders = costs_by(found, "device__device_type", "month")
    by_month = {(type_id, _month(moment)): cost for (type_id, moment), cost in of_orders.items()}
    by_month = _joined(by_month, packs_alone(alone, "device__device_type", "month"))
    months: dict[int, dict[date, Decimal]] = {}
    for (type_id, month), cost in by_month.items():
        months.setdefault(type_id, {})[month] = cost.total
    packs_by_type = packs_alone(alone, "device__device_type")
    by_type = _joined(costs_by(found, "device__device_type"), packs_by_type)
    by_kind = costs_by(found, "kind")
    if packs_by_type:
        by_kind[(_ALONE,)] = sum(packs_by_type.values(), Cost())
    return Costs(
        overall=CostLine("All", None, found.count(), sum(by_month.values(), Cost())),
        by_type=_lines(found, "device__device_type", by_type, named),
        by_kind=_lines(found, "kind", by_kind, {**dict(OrderKind.choices), _ALONE: "Packs fitted without an order"}),
        by_year=_by_year(found, by_month),
        months=months,
    )


def _packs(person: Person) -> QuerySet[PackFitted]:
    return PackFitted.objects.filter(device__in=Device.objects.within(person).order_by())


def _joined(one: dict[Any, Cost], other: dict[Any, Cost]) -> dict[Any, Cost]:
    return {key: one.get(key, Cost()) + other.get(key, Cost()) for key in one | other}


def _lines(
    found: OrderQuerySet, lookup: str, cost: dict[tuple[Any, ...], Cost], names: dict[Any, str]
) -> list[CostLine]:
    counted = dict(found.order_by().values_list(lookup).annotate(n=Count("pk")))
    keys = counted | {key: 0 for (key,) in cost if key not in counted}
    rows = [CostLine(names[key], key, many, cost.get((key,), Cost())) for key, many in keys.items()]
    return sorted(rows, key=lambda row: -row.cost.total)


def _by_year(found: OrderQuerySet, by_month: dict[tuple[Any, date], Cost]) -> list[CostLine]:
    counted = dict(found.order_by().values_list("completed_at__year").annotate(n=Count("pk")))
    cost: dict[int, Cost] = {}
    for (_, month), each in by_month.items():
        cost[month.year] = cost.get(month.year, Cost()) + each
    years = sorted({*counted, *cost})
    return [CostLine(str(year), year, counted.get(year, 0), cost.get(year, Cost())) for year in years]


def _month(moment: datetime) -> date:
    return timezone.localtime(moment).date().replace(day=1)


def dearest(person: Person) -> list[DriverCost]:
    """The person's drivers that are not retired and cost most: in all their finished orders, and packs without one."""
    done = Order.objects.within(person).filter(state=OrderState.DONE.value, device__retired_on__isnull=True)
    cost = _joined(
        costs_by(done, "device"), packs_alone(_packs(person).filter(device__retired_on__isnull=True), "device")
    )
    top = sorted(cost, key=lambda key: -cost[key].total)[:DEAREST]
    counted = dict(
        done.filter(device__in=[key[0] for key in top]).order_by().values_list("device").annotate(n=Count("pk"))
    )
    known = {device.pk: device for device in devices().filter(pk__in=[key[0] for key in top])}
    rows = [(known[key[0]], cost[key]) for key in top if key[0] in known]
    return [DriverCost(device, counted.get(device.pk, 0), each, price_of(device)) for device, each in rows]


def price_of(device: Device) -> Decimal | None:
    """What a driver cost: its own price, else its type's list price; None where neither is stated."""
    return device.device_type.price if device.price is None else device.price


def of_driver(device: Device) -> tuple[DriverCost, list[tuple[Order, Cost]], list[PackFitted]]:
    """What one driver has cost, each of its orders with its cost, the newest first, and its packs without an order."""
    rows = list(orders().filter(device=device).order_by("-raised_at", "-pk"))
    cost = costs_by(Order.objects.filter(device=device), "pk")
    each = [(row, cost.get((row.pk,), Cost())) for row in rows]
    alone = PackFitted.objects.filter(device=device)
    total = sum((cost for _, cost in each), packs_alone(alone, "device").get((device.pk,), Cost()))
    return DriverCost(device, len(rows), total, price_of(device)), each, list(alone.filter(order__isnull=True))


@dataclass(frozen=True, slots=True)
class Replaced:
    """How often a part was replaced in a period: pieces used, on how many drivers, in how many driver-years."""

    name: str
    number: str
    part_id: int | None
    used: int
    reused: int
    drivers: int
    driver_years: float

    @property
    def a_hundred_years(self) -> float | None:
        """Pieces used in a hundred driver-years."""
        return 100 * self.used / self.driver_years if self.driver_years else None

    @property
    def years_between(self) -> float | None:
        """Driver-years for each piece used."""
        return self.driver_years / self.used if self.used else None


def replaced(first: date, last: date, person: Person) -> list[Replaced]:
    """The parts that went into the person's drivers by orders finished in a period, the most used first.

    Driver-years are those of all the person's drivers that the part fits, from acceptance to retirement, in the period.
    """
    stayed = F("quantity") - F("returned")
    rows = PartUse.objects.filter(order__in=finished(first, last, person).order_by()).order_by()
    grouped = rows.values_list("part", "part__number", "part_number", "name").annotate(
        many=Sum(stayed),
        again=Sum(stayed, filter=Q(stock__saved_from__isnull=False)),
        on=Count("order__device", distinct=True),
    )
    years, fits = _driver_years(first, last, person), _fits()
    found = [
        Replaced(name, stock_number or number, part, many, again or 0, drivers, _over(years, fits.get(part or 0)))
        for part, stock_number, number, name, many, again, drivers in grouped
        if many
    ]
    return sorted(found, key=lambda row: (-row.used, row.name))


def _driver_years(first: date, last: date, person: Person) -> dict[int, float]:
    """By type: the years in which the person's drivers were there to need parts."""
    rows: QuerySet[Device, Any] = Device.objects.within(person).filter(accepted_on__lte=last)
    found: dict[int, float] = {}
    for type_id, accepted, retired in rows.values_list("device_type", "accepted_on", "retired_on"):
        days = (min(retired or last, last) - max(accepted or first, first)).days + 1
        found[type_id] = found.get(type_id, 0.0) + max(days, 0) / _DAYS_A_YEAR
    return found


def _fits() -> dict[int, set[int]]:
    """The types that each part names, of those that name any."""
    found: dict[int, set[int]] = {}
    for part, device_type in Part.types.through.objects.values_list("part", "devicetype"):
        found.setdefault(part, set()).add(device_type)
    return found


def _over(years: dict[int, float], types_held: Iterable[int] | None) -> float:
    return sum(years.values()) if types_held is None else sum(years.get(each, 0.0) for each in types_held)
