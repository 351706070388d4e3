"""A driver asked for maintenance in the middle of treatment: one service order answers it, from tag to return."""

import pytest

from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.schedules.actions import open_dues
from fleet.schedules.models import Due
from fleet.web import clock
from tests.bench.builders import again, finish, fresh, received, work
from tests.builders import BY, a_device
from tests.schedules.builders import a_plan
from tests.tags.builders import alert_kind, an_open_tag, signed_in


def test_one_service_order_answers_the_tag_and_meets_the_due(technician: Person) -> None:
    """Received for a planned service, the order carries the tag; finished, tag, alert and due are all answered."""
    device = a_device()
    a_plan(device.device_type)
    open_dues(device, by=BY)
    alert_kind("asked-for-maintenance")
    tag = an_open_tag(device, what="asked")
    assert Due.objects.get(device=device).asked_by_device
    order = received(device, technician, kind="planned")
    assert order.tag == tag
    finish(work(order, technician), technician, Outcome.NO_FAULT_FOUND)
    assert again(device).condition == "in_service"
    assert fresh(order).tag.cleared_by_order == order.number
    assert not device.alerts.filter(closed_at=None).exists()
    assert Due.objects.get(device=device).last_done_on == clock.today()


@pytest.mark.parametrize("report", [{"what": "stopped"}, {"what": "asked", "harm": "not_sure"}])
def test_a_service_answers_no_other_report(technician: Person, report: dict[str, str]) -> None:
    """Where a fault was reported, or somebody might have been harmed, a planned service leaves the tag to a repair."""
    device = a_device()
    an_open_tag(device, **report)
    assert received(device, technician, kind="planned").tag is None


def test_a_second_report_of_a_fault_makes_it_a_repair(technician: Person) -> None:
    """One report of a fault among those of the tag is enough."""
    device = a_device()
    an_open_tag(device, what="asked")
    an_open_tag(device, what="rate")
    assert received(device, technician, kind="planned").tag is None


def test_receiving_says_that_one_order_is_enough(technician: Person) -> None:
    """The page tells the technician before the choice is made, and only where it is true."""
    asked, stopped = a_device(), a_device()
    an_open_tag(asked, what="asked")
    an_open_tag(stopped)
    pages = [
        signed_in(technician).get("/bench/receive/", {"code": device.asset_number}).content.decode()
        for device in (asked, stopped)
    ]
    assert ["one order answers the tag" in page for page in pages] == [True, False]
