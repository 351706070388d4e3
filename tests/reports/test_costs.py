"""What work cost and how often parts are replaced, for one's own places."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.batteries import actions as batteries
from fleet.batteries.models import Fitting
from fleet.batteries.queries import order_at_work
from fleet.bench import actions as bench
from fleet.bench import queries as bench_queries
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.reports import queries
from fleet.web import clock
from tests.batteries.builders import a_pack
from tests.bench.builders import finish, received, work
from tests.builders import BY, a_bench, a_device, a_type
from tests.pages import page, signed_in, status
from tests.stores.builders import a_part, in_stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def repaired(technician: Person) -> Device:
    """A driver of 1,000, repaired for 58 + 60 + 25 = 143; and another, serviced in half an hour: 30."""
    by = actor_for(technician)
    bench.set_rate(Decimal(60), clock.today() - timedelta(days=9), by=BY)
    part = a_part()
    in_stock(part, 3)
    device = a_device(price=Decimal(1000))
    order = work(received(device, technician, kind="corrective"), technician)
    bench.issue_part(order, part, by=by)
    bench.add_external(order, "Carriage", Decimal(25), by=by)
    finish(order, technician, minutes=60)
    other = work(received(a_device(), technician, kind="planned"), technician)
    finish(other, technician, minutes=30)
    return device


def test_each_group_adds_up_to_the_whole(repaired: Device, manager: Person) -> None:
    """By type, kind, year and month the same 173; a stranger's is nothing."""
    today = clock.today()
    found = queries.costs(today, today, manager)
    assert (found.overall.orders, found.overall.cost.total) == (2, Decimal(173))
    for groups in (found.by_type, found.by_kind, found.by_year):
        assert sum(row.cost.total for row in groups) == 173
        assert sum(row.orders for row in groups) == 2
    assert {row.key: row.cost.total for row in found.by_kind} == {"corrective": 143, "planned": 30}
    assert found.months == {a_type().pk: {today.replace(day=1): Decimal(173)}}


def test_a_driver_s_cost_stands_beside_its_price(repaired: Device, manager: Person) -> None:
    """143 of 1,000 is 14 %; the dearest driver leads."""
    first = queries.dearest(manager)[0]
    assert (first.device, first.cost.total, first.share) == (repaired, Decimal(143), Decimal("0.143"))
    shown = page(manager, f"/reports/costs/{repaired}/")
    assert "143.00" in shown
    assert "14\u00a0%" in shown


def test_how_often_a_part_is_replaced(repaired: Device, manager: Person) -> None:
    """One keypad in the two drivers' 366 days: two driver-years for one, 50 in a hundred."""
    today = clock.today()
    row = queries.replaced(today - timedelta(days=365), today, manager)[0]
    assert (row.name, row.used, row.reused, row.drivers) == ("Keypad", 1, 0, 1)
    assert row.driver_years == pytest.approx(2 * 366 / 365.25)
    assert row.a_hundred_years == pytest.approx(50, rel=0.01)
    assert "Keypad" in page(manager, "/reports/replaced/")


def test_what_was_taken_back_was_not_replaced(technician: Person, manager: Person) -> None:
    """A part issued and taken back counts neither as used nor as cost."""
    part = a_part()
    in_stock(part, 1, a_bench())
    order = work(received(a_device(), technician, kind="corrective"), technician)
    use = bench.issue_part(order, part, by=BY)[0]
    bench.take_back(use, 1, by=BY)
    finish(order, technician)
    today = clock.today()
    assert queries.replaced(today, today, manager) == []
    assert queries.costs(today, today, manager).overall.cost.total == 0


def test_a_pack_that_was_fitted_costs_its_price(technician: Person, manager: Person) -> None:
    """Told apart on the order, the driver and the type: its own price, else that of its type."""
    devices = [a_device(), a_device(), a_device()]
    orders = [received(device, technician, kind="battery") for device in devices]
    today = clock.today()
    first, second, third = a_pack(price=Decimal("61.50")), a_pack(), a_pack()
    batteries.fit(third, devices[2], on=today, order=orders[2], by=BY)
    assert (bench_queries.cost_of(orders[2]).packs, bench_queries.cost_of(orders[2]).unpriced) == (Decimal("61.50"), 0)
    batteries.set_supply(a_type(), {"price": Decimal(58)}, by=BY)
    batteries.fit(first, devices[0], on=today, order=orders[0], by=BY)
    batteries.fit(second, devices[1], on=today, order=orders[1], by=BY)
    costs = [bench_queries.cost_of(order) for order in orders]
    assert [(cost.parts, cost.packs, cost.total) for cost in costs] == [
        (0, Decimal("61.50"), Decimal("61.50")),
        (0, Decimal(58), Decimal(58)),
        (0, Decimal("61.50"), Decimal("61.50")),
    ]
    finish(work(orders[0], technician), technician, minutes=0)
    assert queries.costs(today, today, manager).by_type[0].cost.packs == Decimal("61.50")
    assert queries.of_driver(devices[0])[0].cost.packs == Decimal("61.50")
    assert "61.50" in page(manager, f"/reports/costs/{devices[0]}/")


def test_a_pack_fitted_without_an_order_is_in_the_cost_of_its_driver_type_and_period(manager: Person) -> None:
    """It stands by itself among the kinds of work and sums with the rest; one moved from another is not paid twice."""
    today = clock.today()
    device, other = (a_device(accepted_on=today - timedelta(days=400)) for _ in range(2))
    pack = a_pack(price=Decimal("61.50"))
    batteries.fit(pack, device, on=today - timedelta(days=3), by=BY)
    found = queries.costs(today - timedelta(days=9), today, manager)
    assert found.overall.cost.total == Decimal("61.50")
    assert [(row.name, row.orders, row.cost.packs, row.each) for row in found.by_kind] == [
        ("Packs fitted without an order", 0, Decimal("61.50"), None)
    ]
    for groups in (found.by_type, found.by_year):
        assert sum(row.cost.total for row in groups) == Decimal("61.50")
    assert queries.costs(today, today, manager).overall.cost.total == 0
    assert [(row.device, row.orders, row.cost.total) for row in queries.dearest(manager)] == [
        (device, 0, Decimal("61.50"))
    ]
    assert pack.number in page(manager, f"/reports/costs/{device}/")
    assert queries.of_driver(device)[0].cost.total == Decimal("61.50")
    batteries.remove(device, on=today, why=Fitting.Why.MOVED, out_of_use=True, by=BY)
    batteries.fit(pack, other, on=today, by=BY)
    assert queries.of_driver(other)[0].cost.total == 0
    assert queries.costs(today - timedelta(days=9), today, manager).overall.cost.total == Decimal("61.50")


def test_a_pack_that_came_with_a_new_driver_costs_nothing_by_itself(manager: Person) -> None:
    """Fitted by the day of acceptance it is in the price of the driver."""
    today = clock.today()
    device = a_device(accepted_on=today)
    batteries.fit(a_pack(price=Decimal("61.50")), device, on=today, by=BY)
    assert queries.costs(today, today, manager).overall.cost.total == 0
    assert queries.of_driver(device)[2] == []


def test_a_pack_fitted_on_the_bench_belongs_to_the_order_that_is_worked_there(technician: Person) -> None:
    """Without a battery order it is the repair or service under way, so that its cost is not lost."""
    device = a_device()
    assert order_at_work(device) is None
    repair = received(device, technician, kind="corrective")
    assert order_at_work(device) == repair
    battery = received(device, technician, kind="battery")
    assert order_at_work(device) == battery


def test_the_pages_and_the_file(repaired: Device, manager: Person, outsider: Person, ward_nurse: Person) -> None:
    """The page tells the sums, the file the same lines; a stranger sees nothing of it, a ward may not ask."""
    shown = page(manager, "/reports/costs/")
    assert "143.00" in shown
    assert 'class="plot"' in shown
    lines = b"".join(signed_in(manager).get("/reports/costs.csv").streaming_content).decode().splitlines()
    assert "173" in lines[1]
    assert "No order was finished" in page(outsider, "/reports/costs/")
    assert status(outsider, f"/reports/costs/{repaired}/") == 404
    assert status(ward_nurse, "/reports/costs/") == 403
