"""Reading retirements: those whose record is not complete, and the records."""

from datetime import date

from django.db.models import Q

from fleet.bench.models import RetentionRule, Retirement, RetirementQuerySet
from fleet.core.due import add_months
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet


def retirements(person: Person) -> RetirementQuerySet:
    """All retirements at the person's places, latest first, with what a page shows of them."""
    rows: RetirementQuerySet = Retirement.objects.select_related(
        "device__device_type__maker", "device__home", "disposal", "wiping"
    ).within(person)
    return rows.prefetch_related("parts")


def retirements_named(rows: RetirementQuerySet, words: str) -> RetirementQuerySet:
    """The retirements that an asset or serial number, a type or the reason's words name."""
    driver = Q(device__asset_number__icontains=words) | Q(device__serial_number__icontains=words)
    return rows.filter(driver | Q(device__device_type__model__icontains=words) | Q(words__icontains=words))


def retention_rule() -> RetentionRule | None:
    """For how long records are kept at least; None where nobody has decided that."""
    return RetentionRule.objects.filter(pk=RetentionRule.ONLY).first()


def past_retention(person: Person, on: date) -> DeviceQuerySet:
    """The retired drivers whose records are past their least time, the longest retired first; none without a rule.

    It is told and nothing follows from it here: the program deletes no record.
    """
    rule = retention_rule()
    rows: DeviceQuerySet = Device.objects.within(person).select_related("device_type__maker").order_by("retired_on")
    return rows.filter(retired_on__lte=add_months(on, -12 * rule.years)) if rule else rows.none()


def retirement_of(device: Device) -> Retirement | None:
    """The retirement of a driver that stands."""
    return Retirement.objects.filter(device=device, taken_back_at=None).first()
