"""What an order takes: parts from stock and back, kits, the clock, the hour's price, the cost."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench import queries
from fleet.bench.models import KitLine, Labour, LabourClock, Order, PartUse
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.stores.labels import label_of
from fleet.stores.models import Movement
from fleet.tags.actions import open_quarantine
from fleet.web import clock
from tests.bench.builders import finish, fresh, received, verbs, work
from tests.builders import BY, a_bench, a_device, a_store, a_type
from tests.pages import page, signed_in
from tests.stores.builders import a_part, in_stock, left

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(technician: Person) -> Order:
    """A repair on the bench."""
    return received(a_device(), technician, kind="corrective")


def test_an_issued_part_leaves_the_stock_and_comes_back(order: Order, technician: Person) -> None:
    """Two issued, one taken back: one used, at that day's price; the ledger names the order, the trail tells both."""
    part, by = a_part(), actor_for(technician)
    stock = in_stock(part, 3)
    use = bench.issue_part(order, part, 2, by=by)[0]
    assert (left(stock), use.price, use.stock) == (1, Decimal(58), stock)
    bench.take_back(use, 1, by=by)
    use.refresh_from_db()
    assert (use.used, left(stock)) == (1, 2)
    assert set(Movement.objects.exclude(kind="received").values_list("reference", flat=True)) == {order.number}
    assert verbs(order)[-2:] == ["issued part", "took back part"]
    with pytest.raises(BadValueError, match="1 of it"):
        bench.take_back(use, 2, by=by)


def test_a_part_of_another_type_is_refused(order: Order) -> None:
    """A part that names its types goes into no other."""
    other = a_part(types=[a_type("TW-99")])
    in_stock(other, 1)
    with pytest.raises(BadValueError, match="fits") as refused:
        bench.issue_part(order, other, by=BY)
    assert refused.value.field == "code"


def test_no_part_is_issued_where_none_may_be_added(order: Order, technician: Person) -> None:
    """Under quarantine, on an order that is finished, or before the driver is on a bench."""
    part = a_part()
    in_stock(part, 5)
    raised = bench.raise_order(a_device(), "planned", by=BY)
    with pytest.raises(MoveRefusedError, match="on a bench first"):
        bench.issue_part(raised, part, by=BY)
    done = finish(work(order, technician), technician)
    with pytest.raises(MoveRefusedError, match="done"):
        bench.issue_part(done, part, by=BY)
    held = received(a_device(), technician, kind="corrective")
    open_quarantine(held.device, reason="A pump ran on after its end", by=BY)
    with pytest.raises(MoveRefusedError, match="quarantine"):
        bench.issue_part(held, part, by=BY)
    assert not PartUse.objects.exists()


def test_a_kit_is_issued_as_far_as_the_stores_have_it(order: Order) -> None:
    """What fits and is there comes in one press, what lacks is told, what is on the order is not issued again."""
    seal, knob, foreign = a_part("Seal"), a_part("Knob"), a_part("Cap", types=[a_type("TW-99")])
    procedure = order.procedure_version.procedure
    bench.set_kit(procedure, {seal: 2, knob: 1, foreign: 1}, by=BY)
    in_stock(seal, 1)
    in_stock(seal, 4, a_store())
    issued = bench.issue_kit(order, by=BY)
    assert [(use.name, use.quantity, use.stock.shelf.place) for use in issued.uses] == [
        ("Seal", 1, a_bench()), ("Seal", 1, a_store()),
    ]  # fmt: skip
    assert issued.lacking == (f"1 of {knob}",)
    assert queries.kit_wanted(order) == [(knob, 1)]
    with pytest.raises(BadValueError, match="Nothing of the kit"):
        bench.issue_kit(order, by=BY)
    in_stock(knob, 1)
    bench.issue_kit(order, by=BY)
    with pytest.raises(MoveRefusedError, match="nothing left"):
        bench.issue_kit(order, by=BY)


def test_a_changed_kit_keeps_its_old_lines(order: Order, technician: Person) -> None:
    """One line altered, one dropped, one kept: what stood before stays on record; a technician may not."""
    procedure, (one, two, three) = order.procedure_version.procedure, (a_part(), a_part(), a_part())
    bench.set_kit(procedure, {one: 1, two: 1, three: 1}, by=BY)
    bench.set_kit(procedure, {one: 1, two: 4}, by=BY)
    assert list(queries.kit_of(procedure).values_list("part", "quantity")) == [(one.pk, 1), (two.pk, 4)]
    assert KitLine.objects.count() == 4
    assert TrailEntry.objects.filter(verb="stated kit").count() == 2
    with pytest.raises(NotAllowedError):
        bench.set_kit(procedure, {}, by=actor_for(technician))


def test_the_clock_runs_on_and_is_booked_when_stopped(order: Order, technician: Person) -> None:
    """Begun minutes count; started on another order, it is first booked here; none runs twice."""
    by, now = actor_for(technician), clock.now()
    other = received(a_device(), technician, kind="corrective")
    with clock.at(now):
        bench.start_clock(order, by=by, activity=Labour.Activity.TESTING)
    with clock.at(now + timedelta(minutes=12, seconds=5)), pytest.raises(MoveRefusedError, match="runs on this order"):
        bench.start_clock(order, by=by)
    with clock.at(now + timedelta(minutes=12, seconds=5)):
        bench.start_clock(other, by=by)
    assert list(order.labour.values_list("minutes", "activity", "person")) == [(13, "testing", technician.pk)]
    with clock.at(now + timedelta(hours=30)):
        with pytest.raises(BadValueError, match="has run 29 h"):
            bench.stop_clock(other, by=by)
        assert bench.stop_clock(other, by=by, minutes=45).minutes == 45
    with pytest.raises(MoveRefusedError, match="No clock"):
        bench.stop_clock(other, by=by)


def test_finishing_stops_every_clock(technician: Person, second_technician: Person) -> None:
    """Each person's minutes are booked to them; a clock forgotten for a day books nothing and is told."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    start = clock.now()
    with clock.at(start - timedelta(hours=30)):
        bench.start_clock(order, by=actor_for(second_technician))
    with clock.at(start - timedelta(minutes=20)):
        bench.start_clock(order, by=actor_for(technician))
    with clock.at(start):
        finish(fresh(order), technician)
    assert list(order.labour.values_list("minutes", "person")) == [(20, technician.pk)]
    assert not LabourClock.objects.filter(stopped_at__isnull=True).exists()
    assert "stopped forgotten clock" in verbs(order)


def test_the_cost_is_parts_labour_and_what_others_were_paid(order: Order, technician: Person) -> None:
    """Worked by hand: 2 at 58, one back; 30 min at 60 and 90 min at 80 an hour; carriage 25 once, voided once."""
    part, by, start = a_part(), actor_for(technician), clock.now()
    in_stock(part, 3)
    bench.set_rate(Decimal(60), clock.today() - timedelta(days=30), by=BY)
    bench.set_rate(Decimal(80), clock.today(), by=BY)
    bench.take_back(bench.issue_part(order, part, 2, by=by)[0], 1, by=by)
    with clock.at(start - timedelta(days=2)):
        bench.add_labour(order, 30, by=by)
    bench.add_labour(order, 90, by=by)
    bench.add_external(order, "Carriage", Decimal(25), by=by)
    wrong = bench.add_external(order, "Carriage", Decimal(25), by=by)
    bench.void_external(wrong, "Entered twice", by=by)
    bench.add_part(order, bench.Part(name="Wire"), by=by)
    cost = queries.cost_of(order)
    assert (cost.parts, cost.labour, cost.external) == (Decimal(58), Decimal(150), Decimal(25))
    assert (cost.total, cost.minutes, cost.unpriced) == (Decimal(233), 120, 1)
    with clock.at(start):
        other = received(a_device(), technician, kind="planned")
        bench.add_labour(other, 15, by=by)
    grouped = queries.costs_by(Order.objects.all(), "kind")
    assert {key: cost.total for key, cost in grouped.items()} == {("corrective",): 233, ("planned",): 20}


def test_an_hour_costs_nothing_before_its_first_price(order: Order) -> None:
    """Minutes without a price are minutes still."""
    bench.set_rate(Decimal(60), clock.today() + timedelta(days=1), by=BY)
    bench.add_labour(order, 30, by=BY)
    cost = queries.cost_of(order)
    assert (cost.labour, cost.minutes) == (0, 30)


def test_at_the_order_s_page(order: Order, technician: Person, manager: Person) -> None:
    """A label scanned issues its part, the kit comes in one press, the clock starts and stops, a part goes back."""
    part, browser, address = a_part("Seal"), signed_in(technician), f"/bench/orders/{order.number}/"
    stock = in_stock(part, 3)
    procedure = order.procedure_version.procedure
    sent = {"part_0": part.pk, "quantity_0": 1}
    assert signed_in(manager).post(f"/bench/procedures/{procedure.code}/kit/", sent).status_code == 302
    assert "Issue the kit" in page(technician, address)
    assert browser.post(f"{address}act/kit/").status_code == 302
    assert "Issue the kit" not in page(technician, address)
    scanned = {"issue-code": label_of(part).address, "issue-quantity": 1}
    assert browser.post(f"{address}act/issue/", scanned).status_code == 302
    refused = browser.post(f"{address}act/issue/", {"issue-code": "no such", "issue-quantity": 1})
    assert refused.status_code == 422
    assert "keep no part called" in refused.content.decode()
    use = order.parts.first()
    back = browser.post(f"{address}act/take-back/", {"take-back-use": use.pk, "take-back-quantity": 1})
    assert back.status_code == 302
    assert left(stock) == 2
    assert browser.post(f"{address}act/start/", {"start-activity": "testing"}).status_code == 302
    assert "Your clock runs: 1 min" in page(technician, address)
    assert browser.post(f"{address}act/stop/", {"stop-minutes": ""}).status_code == 302
    assert order.labour.get().minutes == 1


def test_the_price_of_an_hour_is_stated_by_a_manager(technician: Person, manager: Person) -> None:
    """A technician reads it; said again for the same day it is corrected."""
    sent = {"per_hour": "72,50", "from_on": date(2026, 1, 1).isoformat()}
    assert signed_in(technician).post("/bench/rates/", sent).status_code == 403
    for price in ("72,50", "75"):
        assert signed_in(manager).post("/bench/rates/", {**sent, "per_hour": price}).status_code == 302
    assert [row.per_hour for row in queries.rates()] == [Decimal(75)]
    assert "75.00" in page(technician, "/bench/rates/")
