"""Reading retirements: those whose record is not complete, and the records."""

from django.db.models import Q

from fleet.bench.models import Retirement, RetirementQuerySet
from fleet.people.models import Person
from fleet.registry.models import Device


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


def retirement_of(device: Device) -> Retirement | None:
    """The retirement of a driver that stands."""
    return Retirement.objects.filter(device=device, taken_back_at=None).first()
