"""Drivers of the pool, lent by the room's own actions."""

from datetime import date, timedelta
from typing import Any

from fleet.loans import actions
from fleet.loans.actions import Lending, Return
from fleet.loans.models import Loan
from fleet.registry.models import Accessory, Device, Place
from fleet.web import clock
from tests.builders import BY, a_device, a_store, a_ward


def a_pool_driver(**facts: Any) -> Device:
    """A driver of the loan pool, at home in the store."""
    return a_device(a_store(), **{"pool": Device.Pool.LOAN, **facts})


def all_there(device: Device) -> dict[int, int]:
    """Everything that belongs to the driver, counted as there."""
    return {each.pk: each.quantity for each in Accessory.objects.filter(device_type=device.device_type)}


def a_loan(device: Device | None = None, to: Place | None = None, until: date | None = None, **facts: Any) -> Loan:
    """A driver lent to Ward 4 for a week."""
    row = device or a_pool_driver()
    due = until or clock.today() + timedelta(days=7)
    return actions.lend(row, Lending(to_place=to or a_ward(), due_back=due, **facts), all_there(row), by=BY)


def given_back(loan: Loan, back: Loan.Back = Loan.Back.FINE, **facts: Any) -> actions.Returned:
    """The driver taken back into the store with all that belongs to it."""
    given = Return(back=back, returned_to=a_store(), **facts)
    return actions.take_back(loan, given, all_there(loan.device), by=BY)
