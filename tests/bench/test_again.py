"""Drivers that come back for repair within ninety days, on the order and in the figures."""

from datetime import date, timedelta

import pytest

from fleet.bench.models import Order
from fleet.bench.queries import AGAIN_DAYS, came_back, repaired_before
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.registry.models import Device
from tests.bench.builders import finish, received, signed_in, work
from tests.builders import a_device
from tests.reports.builders import words
from tests.schedules.builders import on
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db
START = date(2027, 3, 1)


def repaired(device: Device, by: Person, days: int, found: str = "drive") -> Order:
    """A repair that is reported and ends so many days after the start."""
    with on(START + timedelta(days=days)):
        an_open_tag(device)
        return finish(work(received(device, by), by), by, Outcome.REPAIRED, found=found)


def under_way(device: Device, by: Person, days: int) -> Order:
    """A repair that is reported so many days after the start, and is open."""
    with on(START + timedelta(days=days)):
        an_open_tag(device)
        return received(device, by)


@pytest.mark.parametrize(("days", "told"), [(AGAIN_DAYS, 1), (AGAIN_DAYS + 1, 0)])
def test_a_repair_within_ninety_days_is_told(technician: Person, days: int, told: int) -> None:
    """Up to and with the 90th day after a repair the next one names it; a day later it does not."""
    device = a_device()
    repaired(device, technician, 0)
    assert len(repaired_before(under_way(device, technician, days))) == told


def test_the_order_says_which_repair_it_is(technician: Person) -> None:
    """The third repair within ninety days says so at its head and leads to the two before."""
    device = a_device()
    before = [repaired(device, technician, days) for days in (0, 20)]
    order = under_way(device, technician, 40)
    page = signed_in(technician).get(f"/bench/orders/{order.number}/").content.decode()
    assert "Repair number 3 within 90 days" in page
    assert all(each.number in page for each in before)


def test_only_repairs_count(technician: Person) -> None:
    """A service before a repair is no repair before it, nor does a service ask."""
    device = a_device()
    with on(START):
        finish(work(received(device, technician, kind="planned"), technician), technician, Outcome.NO_FAULT_FOUND)
    assert repaired_before(under_way(device, technician, 10)) == []


def test_what_came_back_is_counted_with_who_ended_the_repair_before(technician: Person, manager: Person) -> None:
    """Of three repairs of one driver the second came back with the same finding, and the third with another."""
    device = a_device()
    for days, found in ((0, "drive"), (30, "drive"), (60, "battery")):
        repaired(device, technician, days, found)
    repaired(a_device(), technician, 60)
    back = came_back(START, START + timedelta(days=80), manager)
    assert [(each.order.found, each.same_finding) for each in back.returns] == [("battery", False), ("drive", True)]
    assert back.by_person == [(str(technician), 2, 1)]
    assert came_back(START + timedelta(days=31), START + timedelta(days=80), manager).same == 0


def test_the_page_tells_persons_only_to_who_may_see_them(technician: Person, manager: Person) -> None:
    """The table by person stands there for managers and for nobody else."""
    device = a_device()
    for days in (0, 30):
        repaired(device, technician, days)
    asked = {"first": "2027-03-01", "last": "2027-04-30"}
    assert "By person who ended the repair before" in words(manager, "/reports/outcomes/", **asked)
    page = words(technician, "/reports/outcomes/", **asked)
    assert "What came back" in page
    assert "By person" not in page
