"""What planned services come upon, and the faults that work is asked about."""

from datetime import date, timedelta

import pytest

from fleet.bench import queries
from fleet.bench.models import Order
from fleet.core.errors import BadValueError
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Plan
from fleet.web import clock
from tests.bench.builders import finish, fresh, received, signed_in, work
from tests.builders import PASSWORD, a_device, a_type
from tests.reports.builders import words
from tests.schedules.builders import a_plan, on
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db

PAGE = "/reports/findings/"
START = date(2027, 3, 1)


def served(device: Device, by: Person, finding: str = "nothing") -> Order:
    """A planned service that ends today; without a finding, as one of the time before services stated it."""
    order = work(received(device, by, kind="planned"), by)
    done = finish(order, by, Outcome.NO_FAULT_FOUND, finding=finding or "nothing")
    Order.objects.filter(pk=done.pk).update(finding=finding)
    return done


def repaired(device: Device, by: Person, **facts: object) -> Order:
    """A tagged driver's repair that ends today."""
    an_open_tag(device)
    return finish(work(received(device, by), by), by, **facts)


def after(days: int, by: Person, **plan: object) -> Order | None:
    """The work before a fault that comes so many days after a service of the plan."""
    with on(START):
        device = a_device(accepted_on=date(2026, 3, 1))
        a_plan(**plan)
        order = served(device, by)
        assert order.due is not None
    with on(START + timedelta(days=days), hour=12):
        an_open_tag(device)
        return queries.work_before(received(device, by))


@pytest.mark.parametrize(("days", "asked"), [(0, 1), (30, 1), (31, 0)])
def test_a_fault_within_the_days_of_the_plan_raises_the_question(technician: Person, days: int, asked: int) -> None:
    """Up to and with the 30th day after a service its part in a fault is asked about, and no longer."""
    assert bool(after(days, technician)) == bool(asked)


def test_each_plan_states_its_own_days(technician: Person) -> None:
    """A plan may ask for longer; one with 0 days never asks."""
    assert after(60, technician, repeat_days=90) is not None
    Plan.objects.update(repeat_days=0)
    device = Device.objects.get()
    with on(START + timedelta(days=60), hour=14):
        assert queries.work_before(Order.objects.get(device=device, kind="corrective")) is None


def test_only_a_repair_is_asked_what_came_before(technician: Person) -> None:
    """A second service after a service is no repeat fault."""
    device = a_device()
    served(device, technician)
    assert queries.work_before(received(device, technician, kind="planned")) is None


def test_the_work_before_is_kept_and_the_cause_is_never_assumed(technician: Person) -> None:
    """A repair soon after work is not finished before somebody judged that work; then it names it with the answer."""
    device = a_device()
    service = served(device, technician)
    an_open_tag(device)
    order = work(received(device, technician), technician)
    with pytest.raises(BadValueError, match=f"Order {service} ended shortly before this fault"):
        finish(order, technician, caused_by_work="")
    assert fresh(order).state == "started"
    done = finish(order, technician, caused_by_work="no")
    assert (done.work_before, done.caused_by_work) == (service, "no")


@pytest.mark.parametrize("outcome", [Outcome.REPAIRED, Outcome.NO_FAULT_FOUND, Outcome.USE_RELATED])
def test_a_service_is_not_finished_without_its_finding(technician: Person, outcome: Outcome) -> None:
    """By whatever way it is asked to end with the driver in hand, and nothing is written."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    with pytest.raises(BadValueError, match="Say what this service came upon"):
        finish(order, technician, outcome, finding="")
    assert fresh(order).state == "started"


def test_a_driver_that_nobody_had_in_hand_needs_no_code(technician: Person) -> None:
    """A service of a driver that is not located came upon nothing that could be told."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    assert finish(order, technician, Outcome.NOT_LOCATED).finding == ""


def test_codes_where_they_do_not_belong_are_refused(technician: Person) -> None:
    """A repair states no finding, a service no cause, and no fault is laid to work that was not done."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    with pytest.raises(BadValueError, match="Only a planned service"):
        finish(order, technician, finding="wear")
    with pytest.raises(BadValueError, match="came shortly before"):
        finish(order, technician, caused_by_work="yes")
    service = work(received(a_device(), technician, kind="planned"), technician)
    with pytest.raises(BadValueError, match="not on the list"):
        finish(service, technician, finding="rust")


def test_the_page_asks_and_is_not_content_without(technician: Person) -> None:
    """A service is not finished on its page before it says what it came upon; not located needs no answer."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    client, address = signed_in(technician), f"/bench/orders/{order}/finish/"
    assert "What did this service come upon?" in client.get(address).content.decode()
    sent = {"revision": order.revision, "outcome": "no_fault_found", "returned_to": order.device.home_id}
    sent["password"] = PASSWORD
    assert client.post(address, sent).status_code == 422
    assert fresh(order).state == "started"
    assert client.post(address, {**sent, "finding": "potential"}).status_code == 302
    assert fresh(order).finding == "potential"


def test_the_page_of_a_repair_names_the_work_before(technician: Person) -> None:
    """Whoever repairs is shown the work that came before and says whether it was the cause."""
    device = a_device()
    service = served(device, technician)
    an_open_tag(device)
    order = work(received(device, technician), technician)
    client, address = signed_in(technician), f"/bench/orders/{order}/finish/"
    assert f"/bench/orders/{service}/" in client.get(address).content.decode()
    sent = {
        "revision": order.revision, "outcome": "repaired", "returned_to": device.home_id, "action_taken": "Plugged in.",
        "password": PASSWORD,
    }  # fmt: skip
    assert client.post(address, sent).status_code == 422
    assert client.post(address, {**sent, "caused_by_work": "yes"}).status_code == 302
    assert (fresh(order).work_before, fresh(order).caused_by_work) == (service, "yes")


def test_yield_by_type_and_plan(technician: Person, manager: Person) -> None:
    """The share counts what was stated only, by type and by plan; what was not stated stands beside it."""
    with on(START):
        drivers = [a_device(accepted_on=date(2026, 3, 1)) for _ in range(4)]
        other = a_device(device_type=a_type("Sable"))
        a_plan()
        for device, finding in zip(drivers, ("nothing", "minor", "hidden", ""), strict=True):
            served(device, technician, finding)
        served(other, technician, "nothing")
        found = queries.findings(START, START, manager)
    assert (found.overall.services, found.overall.stated, found.overall.any.part) == (5, 4, 2)
    assert [(each.name, each.services) for each in found.by_plan] == [("Yearly service", 4)]
    plan = found.by_plan[0]
    assert (plan.any.part, plan.any.whole, plan.grave.part) == (2, 3, 1)
    assert [each.services for each in found.by_type] == [1, 4]


def test_the_page_leads_to_the_orders_behind_each_number(technician: Person, manager: Person) -> None:
    """Behind a count stand exactly as many orders, and the figures of persons are for those with the duty."""
    device = a_device()
    served(device, technician, "wear")
    repaired(device, technician, caused_by_work="yes")
    served(a_device(), technician, "")
    client = signed_in(manager)
    answer = client.get(PAGE)
    rows = [row for _, _, part in answer.context["tables"] for row in part]
    for row in rows:
        assert len(client.get(row["services"]).context["table"].rows) == row["row"].services
        for _, number, url in row["counts"]:
            assert len(client.get(url).context["table"].rows) == number
        assert len(client.get(row["unstated"][1]).context["table"].rows) == row["unstated"][0]
    assert "By person" in words(manager, PAGE)
    assert "By person" not in words(technician, PAGE)
    assert "1 of 3; 6.1 to 79.2" in words(manager, PAGE)
    lines = b"".join(client.get("/reports/findings.csv")).decode().splitlines()
    assert lines[1].startswith("All,,,2,1,0,0,0,0,1,1.0,")


def test_nobody_sees_other_places(technician: Person, outsider: Person) -> None:
    """Services of places that are not one's own are in no figure."""
    served(a_device(), technician)
    assert queries.findings(clock.today(), clock.today(), outsider).overall.services == 0
    assert "No planned service was finished" in words(outsider, PAGE)
