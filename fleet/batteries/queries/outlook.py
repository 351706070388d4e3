"""Which batteries will not last until the next visit, and of which that cannot be told.

Every list holds drivers in service only: one that is on the bench or out of use is looked at anyway. A pack that is
below its level already stands in its own list and in no other.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db.models import Count, Exists, F, Min, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from fleet.batteries.models import Fitting, FittingQuerySet, Forecast, ForecastQuerySet, RuntimeTest
from fleet.batteries.queries.asked import AT_ONCE, AT_VISIT
from fleet.batteries.queries.reasons import with_reasons
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet, DeviceType

#: The built-in limit where nobody has set one: see batteries.queries.policy.
ASSUMED_LIMIT: Final = 0.10
_HELD = ("pack", "device__device_type__maker", "device__home__site")
_BELOW = Q(already_below=True)
_LIMIT = Coalesce(F("limit"), ASSUMED_LIMIT)
_AT_ONCE = Q(advice__in=AT_ONCE)
_AT_VISIT = Q(advice=AT_VISIT)
_NOT_ENOUGH = Q(basis=Forecast.Basis.NOT_ENOUGH)
_WITHOUT_VISIT = ~_NOT_ENOUGH & Q(already_below=False, next_visit__isnull=True)


@dataclass(frozen=True, slots=True)
class TypeWithoutForecast:
    """A type of which too little is known: its name, why, and how many of the person's drivers that leaves out."""

    pk: int
    name: str
    why: str
    drivers: int


@dataclass(frozen=True, slots=True)
class TypeCounts:
    """How many of the person's drivers of a type stand in each list."""

    will_not_last: int
    already_below: int
    at_once: int
    at_visit: int
    never_tested: int


@dataclass(frozen=True, slots=True)
class Counts(TypeCounts):
    """How many drivers in service stand in each list, and when the oldest forecast was made (None without any)."""

    not_enough: int
    without_visit: int
    without_pack: int
    oldest: datetime | None


def forecasts(person: Person) -> ForecastQuerySet:
    """Forecasts of the packs in the person's drivers that are in service."""
    rows: ForecastQuerySet = Forecast.objects.select_related(*_HELD)
    return rows.within(person).filter(device__condition=Condition.IN_SERVICE)


def will_not_last(person: Person, chance: float | None = None) -> ForecastQuerySet:
    """Packs with at least this chance of passing their level before the driver's next visit, the likeliest first.

    Without a chance those of which it is over the risk limit in force for their driver.
    """
    return forecasts(person).filter(_will_not_last(chance)).order_by("-chance_before_visit", "-pk")


def _will_not_last(chance: float | None) -> Q:
    over = Q(chance_before_visit__gt=_LIMIT) if chance is None else Q(chance_before_visit__gte=chance)
    return Q(already_below=False) & over


def already_below(person: Person) -> ForecastQuerySet:
    """Packs below their level by the latest test or by what is expected of them, the lowest first."""
    return forecasts(person).filter(_BELOW).order_by("fraction_today", "pk")


def at_once(person: Person) -> QuerySet[Forecast]:
    """Packs to replace now or call in, with the reason: those below their level, then by the chance until the visit."""
    rows = forecasts(person).filter(_AT_ONCE)
    return with_reasons(rows).order_by("-already_below", F("chance_before_visit").desc(nulls_last=True), "-pk")


def at_visit(person: Person) -> QuerySet[Forecast]:
    """Packs to replace at the next visit, with the reason: by the chance until the visit after it."""
    rows = forecasts(person).filter(_AT_VISIT)
    return with_reasons(rows).order_by(F("chance_before_following").desc(nulls_last=True), "-pk")


def not_enough(person: Person) -> ForecastQuerySet:
    """Packs of types of which too little is known for a forecast."""
    return forecasts(person).filter(_NOT_ENOUGH).order_by("device__device_type", "device__asset_number")


def without_visit(person: Person) -> ForecastQuerySet:
    """Packs with a forecast in drivers without a planned visit, the earliest crossing first, too far off last."""
    return forecasts(person).filter(_WITHOUT_VISIT).order_by(F("crossing_on").asc(nulls_last=True), "pk")


def never_tested(person: Person) -> FittingQuerySet:
    """Packs in service on which no test that counts was ever made, the longest fitted first."""
    tested = RuntimeTest.objects.filter(pack=OuterRef("pack"), voided_at__isnull=True)
    rows: FittingQuerySet = Fitting.objects.select_related(*_HELD)
    rows = rows.within(person).filter(removed_on__isnull=True, device__condition=Condition.IN_SERVICE)
    return rows.filter(~Exists(tested)).order_by("fitted_on", "pk")


def without_pack(person: Person) -> DeviceQuerySet:
    """Drivers in service of a type with a fitted pack, of which no pack is on record."""
    held = Fitting.objects.filter(device=OuterRef("pk"), removed_on__isnull=True)
    rows: DeviceQuerySet = Device.objects.select_related("device_type__maker", "home__site")
    rows = rows.within(person).filter(condition=Condition.IN_SERVICE, device_type__power=DeviceType.Power.FITTED_PACK)
    return rows.filter(~Exists(held)).order_by("asset_number")


#: The lists by the name their address carries. All but the first ask nothing but the person.
LISTS: dict[str, Callable[[Person], QuerySet[Any]]] = {
    "will_not_last": will_not_last,
    "below": already_below,
    "at_once": at_once,
    "at_visit": at_visit,
    "never": never_tested,
    "not_enough": not_enough,
    "no_visit": without_visit,
    "no_pack": without_pack,
}


def types_without_forecast(rows: QuerySet[Forecast]) -> list[TypeWithoutForecast]:
    """`not_enough` by type: why each has no number."""
    names = ("device__device_type__maker__name", "device__device_type__model", "device__device_type__configuration")
    groups = rows.order_by().values_list("device__device_type", *names, "why_not").annotate(drivers=Count("pk"))
    found = [
        TypeWithoutForecast(pk, f"{maker} {model}" + (f" ({configuration})" if configuration else ""), why, drivers)
        for pk, maker, model, configuration, why, drivers in groups
    ]
    return sorted(found, key=lambda group: group.name)


def counts(person: Person, chance: float | None = None) -> Counts:
    """How many rows each list has for the person; `chance` as for `will_not_last`."""
    found = counted(forecasts(person), chance)
    return Counts(
        will_not_last=found["will_not_last"],
        already_below=found["below"],
        at_once=found["at_once"],
        at_visit=found["at_visit"],
        never_tested=never_tested(person).count(),
        not_enough=found["not_enough"],
        without_visit=found["no_visit"],
        without_pack=without_pack(person).count(),
        oldest=found["oldest"],
    )


def counted(rows: ForecastQuerySet, chance: float | None = None) -> dict[str, Any]:
    """How many of these forecasts stand in each list, by its name, and when the `oldest` was made; one query.

    `chance` as for `will_not_last`.
    """
    return rows.aggregate(
        will_not_last=Count("pk", filter=_will_not_last(chance)),
        below=Count("pk", filter=_BELOW),
        at_once=Count("pk", filter=_AT_ONCE),
        at_visit=Count("pk", filter=_AT_VISIT),
        not_enough=Count("pk", filter=_NOT_ENOUGH),
        no_visit=Count("pk", filter=_WITHOUT_VISIT),
        oldest=Min("made_at"),
    )
