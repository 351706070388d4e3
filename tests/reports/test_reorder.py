"""The reorder list: what work takes by its kits, what is on order, what packs are asked for, for one's own places."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.batteries.models import PackPurchase
from fleet.bench import actions as bench
from fleet.bench.queries import will_take
from fleet.people.models import Person
from fleet.reports.queries import reorder_list
from fleet.schedules.actions import open_dues
from fleet.schedules.models import Due, Plan
from fleet.stores.actions import keep_at, mark_ordered
from fleet.stores.models import Purchase
from fleet.web import clock
from tests.bench.builders import a_procedure, received
from tests.builders import BY, a_bench, a_device, a_site, a_store, a_type
from tests.pages import page, signed_in
from tests.schedules.builders import a_plan
from tests.stores.builders import a_part, in_stock

pytestmark = pytest.mark.django_db


def due_in(days: int) -> Due:
    """A driver whose yearly service is due in so many days."""
    if not Plan.objects.exists():
        a_plan()
    device = a_device()
    open_dues(device, by=BY)
    due = Due.objects.get(device=device)
    on = clock.today() + timedelta(days=days)
    Due.objects.filter(pk=due.pk).update(due_on=on, opens_on=on, closes_on=on)
    return due


def test_the_work_that_is_due_takes_its_kit(manager: Person) -> None:
    """Two services take two seals each; three lie there, one is the minimum: two lacking, ordered as one lot."""
    seal = a_part("Seal", price=Decimal("4.50"), reorder_quantity=5, lead_days=7)
    version = a_procedure("planned")
    bench.set_kit(version.procedure, {seal: 2}, by=BY)
    in_stock(seal, 3)
    keep_at(seal, a_bench(), minimum=1, by=BY)
    first, second = due_in(12), due_in(20)
    Due.objects.exclude(pk__in=[first.pk, second.pk]).update(suspended=True)
    today = clock.today()
    takes = will_take(manager, today, today + timedelta(days=30))[a_site().pk, seal.pk]
    assert dict(takes) == {today + timedelta(days=12): 2, today + timedelta(days=20): 2}
    line = reorder_list(manager, today).lines[0]
    assert (line.quantity, line.by, line.cost) == (5, today + timedelta(days=13), Decimal("22.50"))
    assert "takes 4" in line.why
    mark_ordered(seal, a_bench(), 5, today + timedelta(days=10), by=BY)
    assert reorder_list(manager, today).lines == []


def test_an_open_order_takes_what_it_does_not_have_yet(manager: Person) -> None:
    """A repair on the bench wants its kit today; issued, it wants nothing more; its due counts no second time."""
    seal = a_part("Seal")
    order = received(a_device(), BY, kind="corrective")
    bench.set_kit(order.procedure_version.procedure, {seal: 2}, by=BY)
    in_stock(seal, 3)
    today = clock.today()
    takes = will_take(manager, today, today)
    assert dict(takes[a_site().pk, seal.pk]) == {today: 2}
    bench.issue_kit(order, by=BY)
    assert (a_site().pk, seal.pk) not in will_take(manager, today, today)


def test_a_shelf_is_filled_up_from_another_before_anything_is_ordered(manager: Person) -> None:
    """Under the minimum at the bench, plenty in the store: bring some over."""
    part = a_part()
    in_stock(part, 9, a_store())
    keep_at(part, a_bench(), minimum=2, bin_="A1", by=BY)
    found = reorder_list(manager, clock.today())
    assert found.lines == []
    assert [(each.lacking, each.spare.place) for each in found.bring] == [(2, a_store())]


def test_a_line_is_marked_as_ordered(storekeeper: Person, outsider: Person) -> None:
    """From the list with its day: on order, off the list; the file says the same; a stranger's list is empty."""
    part, browser = a_part("Knob", lead_days=10), signed_in(storekeeper)
    keep_at(part, a_store(), minimum=2, by=BY)
    shown = page(storekeeper, "/reports/reorder/")
    assert "Knob" in shown
    assert "Knob" not in page(outsider, "/reports/reorder/")
    lines = b"".join(browser.get("/reports/reorder.csv").streaming_content).decode()
    assert "Knob" in lines
    expected = clock.today() + timedelta(days=10)
    sent = {"part": part.pk, "place": a_store().pk, "quantity": 2, "expected_on": expected.isoformat()}
    assert (
        browser.post("/reports/reorder/ordered/", {**sent, "place": a_bench(a_site("Corran Vale")).pk}).status_code
        == 302
    )
    assert not Purchase.objects.exists()
    browser.post("/reports/reorder/ordered/", sent)
    assert Purchase.objects.get().expected_on == expected
    assert reorder_list(storekeeper, clock.today()).lines == []


def test_packs_ordered_from_the_list_are_on_order(storekeeper: Person) -> None:
    """Noted twice, both are on order, each expected on its own day, and stand below the list."""
    device_type, today = a_type(), clock.today()
    for many, days in ((5, 20), (3, 10)):
        sent = {
            "pack_type": device_type.pk,
            "quantity": many,
            "expected_on": (today + timedelta(days=days)).isoformat(),
        }
        signed_in(storekeeper).post("/reports/reorder/ordered/", sent)
    rows = PackPurchase.objects.filter(device_type=device_type)
    assert [(row.quantity, (row.expected_on - today).days) for row in rows] == [(3, 10), (5, 20)]
    assert page(storekeeper, "/reports/reorder/").count(f"/batteries/supply/{device_type.pk}/#on-order") == 2
