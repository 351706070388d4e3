"""Reading loans: what is out, what is late, and whether a driver may be lent."""

from typing import Final

from django.db.models import Q, QuerySet

from fleet.core.lifecycle import Condition
from fleet.loans.models import Loan, LoanQuerySet
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet, Place
from fleet.registry.queries import devices, open_places, ward_places
from fleet.web import clock

#: The pools that drivers are lent from. One of a ward is its ward's; a training unit is lent to nobody for patients.
LENT_FROM: Final = (Device.Pool.LOAN.value, Device.Pool.SPARE.value)


def loans(person: Person) -> LoanQuerySet:
    """All loans at the person's places."""
    rows: LoanQuerySet = Loan.objects.select_related(
        "device__device_type__maker", "device__home__site", "to_place__site", "returned_to"
    ).within(person)
    return rows


def out(rows: LoanQuerySet) -> LoanQuerySet:
    """Those not back yet, the first to come back first."""
    return rows.filter(returned_at__isnull=True).order_by("due_back", "pk")


def late(rows: LoanQuerySet) -> LoanQuerySet:
    """Those that should be back, longest first."""
    return out(rows).filter(due_back__lt=clock.today())


def back(rows: LoanQuerySet) -> LoanQuerySet:
    """Those that are back, latest first."""
    return rows.filter(returned_at__isnull=False).order_by("-returned_at", "-pk")


def named(rows: LoanQuerySet, words: str) -> LoanQuerySet:
    """The loans whose driver, place or borrower the words name."""
    driver = Q(device__asset_number__icontains=words) | Q(device__serial_number__icontains=words)
    return rows.filter(driver | Q(to_place__name__icontains=words) | Q(borrower__icontains=words))


def to_wards_of(person: Person) -> LoanQuerySet:
    """What is lent to the person's own wards and not back; nothing for somebody who sees every place."""
    rows = loans(person)
    return out(rows) if person.everywhere else out(rows.filter(to_place__in=ward_places(person)))


def open_loan(device: Device) -> Loan | None:
    """The loan that a driver is out on, if it is."""
    return Loan.objects.select_related("to_place").filter(device=device, returned_at=None).first()


def to_lend(person: Person) -> DeviceQuerySet:
    """The drivers of the pools that stand ready: in service, not under quarantine, not out on a loan."""
    rows = devices().within(person).filter(pool__in=LENT_FROM, condition=Condition.IN_SERVICE, quarantined=False)
    ready: DeviceQuerySet = rows.exclude(loans__returned_at__isnull=True, loans__isnull=False)
    return ready.order_by("device_type__model", "asset_number")


def where_lent() -> QuerySet[Place]:
    """The places that a driver may be lent to: every ward in use, also of other sites, for that is what lending is."""
    return open_places(Place.Kind.WARD)


def where_back(person: Person) -> QuerySet[Place]:
    """Where a driver may be put when it is back."""
    return open_places(Place.Kind.STORE, Place.Kind.BENCH, Place.Kind.WARD).within(person)


def against_lending(device: Device) -> str:
    """Why a driver may not be lent, with what would be right; empty when it may."""
    if device.pool == Device.Pool.TRAINING:
        return f"{device} is a training unit. It is not lent for use on patients."
    if loan := open_loan(device):
        return f"{device} is out already, lent to {loan.whom}. Take it back first."
    if device.quarantined or device.condition != Condition.IN_SERVICE:
        state = "under quarantine" if device.quarantined else device.get_condition_display().lower()
        return f"{device} is {state}. Only a driver in service is lent."
    if device.pool not in LENT_FROM:
        return f"{device} belongs to {device.home}, not to a pool. Its register entry says its pool: loan or spare."
    return ""
