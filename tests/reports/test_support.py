"""The end of makers' support, how companies performed, departures to print, and cost against value."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fleet.bench import actions as bench
from fleet.core.due import add_months
from fleet.core.lifecycle import WaitReason
from fleet.people.models import Person
from fleet.reports import queries
from fleet.schedules.actions import edit_plan
from fleet.web import clock
from tests.bench.builders import as_actor, fresh, received
from tests.builders import BY, a_device, a_maker, a_site, a_type, a_ward
from tests.documents.builders import a_document
from tests.pages import page, signed_in
from tests.schedules.builders import REASONED, a_plan

pytestmark = pytest.mark.django_db


def test_drivers_beyond_support_and_near_its_end_are_counted_by_type_and_site(
    manager: Person, administrator: Person
) -> None:
    """Two years ahead is in, a day more is not; new ones cost the list price; retired ones and other sites are out."""
    today = clock.today()
    old = a_type("TW-8", end_of_support=today - timedelta(days=1), price=Decimal(1500))
    near = a_type("TW-9", end_of_support=add_months(today, 24))
    far = a_type("TW-11", end_of_support=add_months(today, 24) + timedelta(days=1))
    for kind in (old, old, near, far, a_type("TW-12")):
        a_device(device_type=kind)
    a_device(a_ward("Ward 9", a_site("Corran Vale")), old)
    bench.retire(a_device(device_type=old), why="worn", by=BY)
    found = queries.end_of_support(today, manager)
    assert [(line.device_type, line.beyond, line.drivers, line.sum) for line in found.lines] == [
        (old, True, 2, Decimal(3000)),
        (near, False, 1, None),
    ]
    assert (found.drivers(beyond=True), found.drivers(beyond=False), found.unpriced) == (2, 1, 1)
    assert found.not_stated == [(a_type("TW-12"), 1)]
    assert [line.site.name for line in queries.end_of_support(today, administrator).lines] == [
        "Corran Vale",
        "Mereford General",
        "Mereford General",
    ]


def test_the_report_is_read_and_taken_out(manager: Person, storekeeper: Person) -> None:
    """With the sum, and as a file."""
    a_device(device_type=a_type("TW-8", end_of_support=date(2020, 1, 1), price=Decimal(1500)))
    shown = page(manager, "/reports/support/")
    assert "Beyond it" in shown
    assert "1500.00" in shown
    lines = b"".join(signed_in(manager).get("/reports/support.csv").streaming_content).decode().splitlines()
    assert lines[1].endswith("Mereford General,2020-01-01,yes,1,1500.00,EUR")
    assert signed_in(storekeeper).get("/reports/support/").status_code == 403


def test_what_was_sent_out_is_counted_by_company_with_its_days(technician: Person, manager: Person) -> None:
    """Each wait for the maker counts once; whom it went to is who was named, else whoever services the driver."""
    maker, other = a_maker(), a_maker("Ossel & Brey")
    now = clock.now()
    with clock.at(now - timedelta(days=30)):
        first = received(a_device(service_provider=maker), technician, kind="corrective")
        second = received(a_device(warranty_until=clock.today()), technician, kind="corrective")
        bench.set_aside(first, WaitReason.MAKER, by=as_actor(technician))
        bench.set_aside(second, WaitReason.MAKER, provider=other, by=as_actor(technician))
    with clock.at(now - timedelta(days=20)):
        bench.resume(fresh(first), by=as_actor(technician))
        bench.set_aside(fresh(first), WaitReason.PARTS, by=as_actor(technician))
    bench.add_external(fresh(second), provider=other, words="Repair", amount=Decimal(80), by=as_actor(technician))
    found = queries.sent_out(clock.today() - timedelta(days=40), clock.today(), manager)
    told = {each.party: (len(each.trips), each.back, each.out, each.median_days, each.paid) for each in found}
    assert told == {maker: (1, 1, 0, 10.0, 0), other: (1, 0, 1, None, 80)}
    assert [trip.covered for each in found for trip in each.trips if each.party == other] == [True]
    shown = page(manager, f"/reports/sent-out/?company={other.pk}")
    assert second.number in shown
    assert first.number not in shown
    before = queries.sent_out(clock.today() - timedelta(days=400), clock.today() - timedelta(days=31), manager)
    assert before == []


def test_departures_are_listed_with_basis_evaluator_review_and_documents(manager: Person, technician: Person) -> None:
    """Plan and driver, on the page and in the file; a review that has passed is late and counted on the overview."""
    kind = a_type()
    device = a_device(device_type=kind, accepted_on=date(2020, 1, 1))
    plan = edit_plan(a_plan(kind, maker_months=12), {**REASONED, "every_months": 24, "maker_months": 12}, by=BY)
    a_document("Five years of findings", plan=plan, kind="evidence")
    shown = page(technician, "/reports/departures/")
    for words in (plan.basis_reason, plan.basis_by, "Five years of findings", device.asset_number, "24 months"):
        assert words in shown
    rows = b"".join(signed_in(manager).get("/reports/departures.csv").streaming_content).decode().splitlines()
    assert device.asset_number in rows[1]
    assert "Five years of findings" in rows[1]
    assert plan.basis_review_on is not None
    with clock.at(clock.now() + timedelta(days=(plan.basis_review_on - clock.today()).days + 1)):
        assert "1 to be reviewed" in " ".join(page(technician, "/reports/departures/").split())
        assert device.asset_number in page(technician, "/reports/departures/?show=late")
        assert "/reports/departures/?show=late" in page(manager, "/reports/")
    assert device.asset_number not in page(technician, "/reports/departures/?show=late")


def test_a_years_cost_is_held_against_purchase_and_replacement_value(manager: Person) -> None:
    """The purchase value takes a driver's own price, else the list price; a price in another currency is no price."""
    kind = a_type(price=Decimal(2000))
    a_device(device_type=kind, price=Decimal(1000), currency="EUR")
    a_device(device_type=kind)
    a_device(device_type=kind, price=Decimal(9), currency="JPY")
    a_device(device_type=a_type("TW-20"))
    value = queries.value_of_fleet(manager)
    assert (value.purchase, value.replacement, value.unpriced) == (5000, 6000, 1)
    of_purchase, of_replacement = value.shares(Decimal(100), 365)
    assert of_purchase is not None
    assert of_replacement is not None
    # 100 in 365 days is 100.07 a year of 365.25 days: 2.0014 % of 5000, 1.6678 % of 6000.
    assert round(of_purchase, 6) == Decimal("0.020014")
    assert round(of_replacement, 6) == Decimal("0.016678")
    assert "Of the replacement value" in page(manager, "/reports/costs/")
