"""Drivers whose maker supports their type no longer, or not for long; and records that are past their time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from django.conf import settings
from django.db.models import Case, Count, F, Q, Sum, When

from fleet.core.due import add_months
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType, Place

#: How far ahead the report looks.
MONTHS_AHEAD: Final = 24
_DAYS_A_YEAR: Final = Decimal("365.25")


@dataclass(frozen=True, slots=True)
class SupportLine:
    """The drivers of one type at one site. `sum`: what as many new ones cost at the type's list price, where stated."""

    device_type: DeviceType
    site: Place
    ends_on: date
    beyond: bool
    drivers: int
    sum: Decimal | None


@dataclass(frozen=True, slots=True)
class Support:
    """The report: its lines, and the types of which nobody stated when support ends, with their drivers."""

    lines: Sequence[SupportLine]
    not_stated: Sequence[tuple[DeviceType, int]]

    def drivers(self, *, beyond: bool) -> int:
        """How many drivers are beyond their maker's support, or come to its end."""
        return sum(line.drivers for line in self.lines if line.beyond is beyond)

    @property
    def sum(self) -> Decimal:
        """What new ones for all of them cost, at the list prices stated."""
        return sum((line.sum for line in self.lines if line.sum is not None), Decimal(0))

    @property
    def unpriced(self) -> int:
        """How many of the drivers are of a type without a list price."""
        return sum(line.drivers for line in self.lines if line.sum is None)


def end_of_support(on: date, person: Person) -> Support:
    """The person's drivers that are not retired, by type and site, the earliest end on top."""
    rows = Device.objects.within(person).filter(retired_on__isnull=True).order_by()
    counted = rows.values_list("device_type", "home__site").annotate(many=Count("pk"))
    known = {row.pk: row for row in DeviceType.objects.select_related("maker")}
    sites = Place.objects.in_bulk({site for _, site, _ in counted})
    lines, not_stated = [], dict[int, int]()
    for type_id, site, many in counted:
        held = known[type_id]
        if held.end_of_support is None:
            not_stated[type_id] = not_stated.get(type_id, 0) + many
        elif held.end_of_support <= add_months(on, MONTHS_AHEAD):
            price = None if held.price is None else held.price * many
            lines.append(SupportLine(held, sites[site], held.end_of_support, held.end_of_support < on, many, price))
    lines.sort(key=lambda line: (line.ends_on, str(line.device_type), line.site.name))
    return Support(lines, sorted(((known[key], many) for key, many in not_stated.items()), key=lambda each: -each[1]))


@dataclass(frozen=True, slots=True)
class Value:
    """What the person's drivers in use are worth: what they cost, and what as many new ones cost at list prices.

    The purchase value takes the type's list price where a driver has no price of its own in the house's currency.
    `unpriced`: drivers for which that is not stated either; they count as nothing.
    """

    purchase: Decimal
    replacement: Decimal
    unpriced: int

    def shares(self, cost: Decimal, days: int) -> tuple[Decimal | None, Decimal | None]:
        """A year's cost, from the cost of so many days, as a share of the purchase and of the replacement value."""
        a_year = cost * _DAYS_A_YEAR / days
        return _share(a_year, self.purchase), _share(a_year, self.replacement)


def _share(cost: Decimal, worth: Decimal) -> Decimal | None:
    return cost / worth if worth else None


def value_of_fleet(person: Person) -> Value:
    """The value of the person's drivers that are not retired."""
    rows = Device.objects.within(person).filter(retired_on__isnull=True).order_by()
    own = Q(price__isnull=False, currency__in=["", settings.CURRENCY])
    paid = Case(When(own, then=F("price")), default=F("device_type__price"))
    found = rows.aggregate(purchase=Sum(paid), replacement=Sum("device_type__price"))
    unpriced = rows.filter(~own, device_type__price__isnull=True).count()
    return Value(found["purchase"] or Decimal(0), found["replacement"] or Decimal(0), unpriced)
