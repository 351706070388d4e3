"""How risky types are, and which intervals are longer than their maker's."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import Count, Min, Prefetch, Q, QuerySet

from fleet.core.due import add_months
from fleet.core.risk import Scale
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType
from fleet.registry.queries import types
from fleet.schedules.models import HouseRule, Plan, RiskClass, TypeRisk
from fleet.web import clock

#: From so many points of physical risk on (injury, death) a type counts as high-risk. Our own reading of "serious
#: injury or death should the equipment fail"; no source gives a number.
HIGH_RISK_FROM: Final = 4
_DAYS_A_YEAR: Final = 365.25


def house_rule() -> HouseRule:
    """What the hospital decided, or the defaults where nobody has yet."""
    return HouseRule.objects.filter(pk=HouseRule.ONLY).first() or HouseRule(changed_at=clock.now(), changed_by="")


def risk_classes(scale: Scale | None = None) -> QuerySet[RiskClass]:
    """The classes of one scale, or of all, most points first."""
    rows = RiskClass.objects.order_by("-points", "label")
    return rows if scale is None else rows.filter(scale=scale.value)


def risk_of(device_type: DeviceType) -> TypeRisk | None:
    """The score that stands for a type; None where nobody has scored it."""
    return TypeRisk.objects.filter(device_type=device_type, replaced_at=None).first()


def high_risk(device_type: DeviceType) -> bool:
    """Whether serious injury or death is possible if it fails: by its mark, or by the physical risk in its score."""
    standing = risk_of(device_type)
    return device_type.life_support or (standing is not None and standing.risk_points >= HIGH_RISK_FROM)


def used_since(device_type: DeviceType) -> date | None:
    """The day on which the first driver of a type was accepted; None where none was yet."""
    first: date | None = Device.objects.filter(device_type=device_type).aggregate(first=Min("accepted_on"))["first"]
    return first


def history_from(device_type: DeviceType) -> date | None:
    """The day from which a type has history enough for a longer interval; None where no driver is accepted yet."""
    since = used_since(device_type)
    return add_months(since, house_rule().history_months) if since else None


def driver_years(device_type: DeviceType, on: date) -> float:
    """The years in which drivers of a type were in use here, each from its acceptance to its retirement, together."""
    rows = Device.objects.filter(device_type=device_type, accepted_on__lte=on).values_list("accepted_on", "retired_on")
    return sum(((min(retired or on, on) - accepted).days for accepted, retired in rows if accepted), 0) / _DAYS_A_YEAR


@dataclass(frozen=True, slots=True)
class ScoredType:
    """A type with the score that stands, whether it is high-risk, and how many of a person's drivers are of it."""

    device_type: DeviceType
    risk: TypeRisk | None
    high: bool
    drivers: int


def scored_types(person: Person) -> list[ScoredType]:
    """Every type, the highest score first, those without one last."""
    counts = dict(Device.objects.within(person).order_by().values_list("device_type").annotate(Count("pk")))
    standing = {row.device_type_id: row for row in TypeRisk.objects.filter(replaced_at=None)}
    found = [_scored(row, standing.get(row.pk), counts.get(row.pk, 0)) for row in types()]
    return sorted(found, key=lambda each: (-(each.risk.score if each.risk else 0), str(each.device_type)))


def _scored(device_type: DeviceType, risk: TypeRisk | None, drivers: int) -> ScoredType:
    high = device_type.life_support or (risk is not None and risk.risk_points >= HIGH_RISK_FROM)
    return ScoredType(device_type, risk, high, drivers)


def departed_plans(person: Person, *, followed: bool = False) -> QuerySet[Plan]:
    """Plans in use on another schedule than the maker's, with `drivers`: how many of the person's follow each.

    `followed`: only those that some driver of the person's follows.
    """
    seen = Device.objects.within(person).values("pk")
    counted = Count("dues", filter=Q(dues__suspended=False, dues__device__in=seen))
    rows = Plan.objects.filter(active=True, basis=Plan.Basis.ALTERNATIVE).annotate(drivers=counted)
    rows = rows.filter(drivers__gt=0) if followed else rows
    standing = Prefetch("device_type__risks", TypeRisk.objects.filter(replaced_at=None), to_attr="standing_risks")
    return rows.select_related("device_type__maker").prefetch_related(standing).order_by("device_type", "name")
