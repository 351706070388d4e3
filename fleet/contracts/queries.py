"""Reading contracts: how each stands on a day, which cover a driver, which drivers one covers."""

from datetime import date, timedelta
from typing import Final

from django.db.models import Exists, OuterRef, Q

from fleet.contracts.models import Contract, ContractQuerySet
from fleet.core.words import Worded
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet

#: So many days before notice must be given a contract is called to mind. Our own choice; no source.
CALLED_TO_MIND: Final = 60


class State(Worded):
    """How a contract stands on a day."""

    COMING = "coming", "Not begun"
    RUNNING = "running", "Running"
    SOON = "soon", "Decide soon"
    LATE = "late", "Day of notice has passed"
    OVER = "over", "Ended"


def state_of(row: Contract, on: date) -> State:
    """How a contract stands. One that another renews has been decided on."""
    if row.ends_on < on or (row.ended_on is not None and row.ended_on < on):
        return State.OVER
    if row.begins_on > on:
        return State.COMING
    if hasattr(row, "renewal") or row.ended_on is not None:
        return State.RUNNING
    if row.decide_by < on:
        return State.LATE
    return State.SOON if row.decide_by <= on + timedelta(days=CALLED_TO_MIND) else State.RUNNING


def contracts(person: Person) -> ContractQuerySet:
    """The contracts that the person may know of, with what a list shows of them."""
    rows: ContractQuerySet = Contract.objects.within(person).select_related("party", "renewal")
    return rows.prefetch_related("device_types__maker", "sites")


def in_force(on: date) -> Q:
    """The contracts that hold on a day."""
    return Q(begins_on__lte=on, ends_on__gte=on) & (Q(ended_on__isnull=True) | Q(ended_on__gte=on))


def to_decide(person: Person, on: date) -> ContractQuerySet:
    """The contracts in force that end soon, or whose day of notice has passed, with nothing decided."""
    rows = contracts(person).filter(in_force(on), ended_on__isnull=True, renewal__isnull=True)
    return rows.filter(decide_by__lte=on + timedelta(days=CALLED_TO_MIND))


def covering(device: Device, on: date) -> list[Contract]:
    """The contracts that cover a driver on a day, a warranty first."""
    here = Q(sites__isnull=True) | Q(sites=device.home.top)
    rows = Contract.objects.filter(in_force(on)).filter(
        Q(devices=device) | (Q(device_types=device.device_type_id) & here)
    )
    found = list(rows.distinct().select_related("party"))
    return sorted(found, key=lambda row: (row.kind != Contract.Kind.WARRANTY, row.ends_on))


def covered(row: Contract, person: Person) -> DeviceQuerySet:
    """The person's drivers that a contract covers: those on its list, and those of its types at its sites."""
    through = Contract.device_types.through.objects.filter(contract=row, devicetype=OuterRef("device_type"))
    sites = row.sites.values("pk")
    by_type = Q(Exists(through))
    if row.sites.exists():
        by_type &= Q(home__site__in=sites) | Q(home__in=sites)
    rows: DeviceQuerySet = Device.objects.within(person).filter(by_type | Q(pk__in=row.devices.values("pk")))
    return rows.filter(retired_on__isnull=True)
