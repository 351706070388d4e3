"""Contracts: which drivers one covers, by when somebody must decide on it, and whom a fault goes to."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.audit.models import TrailEntry
from fleet.contracts.actions import Covers, NewContract, add_contract, edit_contract, end_contract
from fleet.contracts.models import Contract
from fleet.contracts.queries import State, covered, covering, state_of, to_decide
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.web import clock
from tests.bench.builders import received
from tests.builders import BY, a_device, a_maker, a_site, a_type, a_ward
from tests.contracts.builders import a_contract
from tests.pages import page, signed_in, status
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db

LIST = "/contracts/"


def in_days(days: int) -> date:
    return clock.today() + timedelta(days=days)


def test_it_covers_a_type_at_its_sites_and_single_drivers(manager: Person, administrator: Person) -> None:
    """A driver of the type at another site is not covered unless it stands on the list; a retired one never."""
    here, far = a_device(), a_device(a_ward("Ward 9", a_site("Corran Vale")))
    other_type = a_device(device_type=a_type("TW-20"))
    by_site = a_contract("By site", sites=[a_site()])
    listed = a_contract("Listed", devices=[far, other_type])
    everywhere = a_contract("Everywhere")
    assert covering(here, clock.today()) == [by_site, everywhere]
    assert set(covering(far, clock.today())) == {listed, everywhere}
    assert covering(other_type, clock.today()) == [listed]
    assert set(covered(everywhere, administrator)) == {here, far}
    assert set(covered(everywhere, manager)) == {here}
    assert set(covered(by_site, administrator)) == {here}


def test_only_what_holds_on_the_day_covers_and_a_warranty_comes_first() -> None:
    """Not begun, run out and ended early cover nothing."""
    device = a_device()
    full = a_contract("Full", ends_on=in_days(10))
    warranty = a_contract("Warranty", kind="warranty")
    a_contract("Coming", begins_on=in_days(1))
    a_contract("Over", ends_on=in_days(-1))
    ended = a_contract("Ended")
    end_contract(ended, in_days(-5), why="They closed", by=BY)
    assert covering(device, clock.today()) == [warranty, full]


@pytest.mark.parametrize(
    ("begins", "ends", "notice", "state"),
    [
        (1, 400, 0, State.COMING),
        (-10, 300, 30, State.RUNNING),
        (-10, 91, 30, State.RUNNING),
        (-10, 90, 30, State.SOON),
        (-10, 30, 30, State.SOON),
        (-10, 29, 30, State.LATE),
        (-10, -1, 30, State.OVER),
    ],
)
def test_how_it_stands_follows_its_days(
    begins: int, ends: int, notice: int, state: State, administrator: Person
) -> None:
    """It is called to mind sixty days before notice must be given, is late once that day has passed, then over."""
    row = a_contract(begins_on=in_days(begins), ends_on=in_days(ends), notice_days=notice)
    assert state_of(row, clock.today()) is state
    assert to_decide(administrator, clock.today()).exists() is (state in {State.SOON, State.LATE})


def test_renewing_it_decides_on_it(manager: Person) -> None:
    """The next begins the day after; the overview counts the first no more; nobody renews it twice."""
    row = a_contract(ends_on=in_days(20), sites=[a_site()])
    assert "Day of notice has passed" in page(manager, f"{LIST}?show=decide")
    form = signed_in(manager).get(f"{LIST}{row.pk}/renew/").context["form"]
    assert form["begins_on"].value() == in_days(21)
    sent = {name: form[name].value() for name in ("name", "kind", "party", "notice_days", "begins_on", "ends_on")}
    sent |= {"device_types": [a_type().pk], "sites": [a_site().pk]}
    signed_in(manager).post(f"{LIST}{row.pk}/renew/", sent)
    assert Contract.objects.get(renews=row).begins_on == in_days(21)
    assert "No contract fits this." in page(manager, f"{LIST}?show=decide")
    with pytest.raises(ConflictError, match="renewed by"):
        a_contract(renews=row)


def test_the_overview_counts_what_is_to_be_decided(manager: Person) -> None:
    """Its tile leads to the list of just those."""
    a_contract("Ends soon", ends_on=in_days(40))
    a_contract("Runs on")
    shown = page(manager, "/reports/")
    assert 'href="/contracts/?show=decide"' in shown
    listed = page(manager, f"{LIST}?show=decide")
    assert "Ends soon" in listed
    assert "Runs on" not in listed


@pytest.mark.parametrize(
    ("facts", "covers", "field"),
    [
        ({}, Covers(), "device_types"),
        ({"ends_on": date(2020, 1, 1)}, None, "ends_on"),
        ({"cost_a_year": 100, "currency": ""}, None, "currency"),
        ({"cost_a_year": -1, "currency": "EUR"}, None, "cost_a_year"),
        ({"name": ""}, None, "name"),
    ],
)
def test_a_contract_says_whole_what_it_is(facts: dict[str, Any], covers: Covers | None, field: str) -> None:
    """Whom it covers, days in their order, a cost with its currency, a name: each refusal names the field."""
    usual = {
        "name": "Care",
        "kind": "full",
        "party": a_maker(),
        "begins_on": date(2026, 1, 1),
        "ends_on": date(2026, 12, 31),
    }
    with pytest.raises(BadValueError) as refused:
        add_contract(NewContract(facts={**usual, **facts}, covers=covers or Covers(device_types=[a_type()])), by=BY)
    assert refused.value.field == field
    assert not Contract.objects.exists()


def test_it_is_written_and_put_right_on_its_pages(manager: Person) -> None:
    """Single drivers are named by their numbers; one that is unknown is told; the trail says what changed."""
    device = a_device()
    sent = {
        "name": "Repairs by Ossel",
        "kind": "repairs",
        "party": a_maker().pk,
        "begins_on": "2026-01-01",
        "ends_on": "2099-12-31",
        "notice_days": 90,
        "cost_a_year": "1200,50",
        "currency": "EUR",
        "listed": f"{device.asset_number.lower()}, NONE-1",
    }
    answer = signed_in(manager).post(f"{LIST}new/", sent)
    assert "No driver of your places has the number NONE-1" in answer.content.decode()
    signed_in(manager).post(f"{LIST}new/", {**sent, "listed": device.asset_number})
    row = Contract.objects.get()
    assert (str(row.cost_a_year), row.decide_by) == ("1200.50", date(2099, 10, 2))
    shown = page(manager, f"{LIST}{row.pk}/")
    assert device.asset_number in shown
    form = signed_in(manager).get(f"{LIST}{row.pk}/edit/").context["form"]
    changed = {**sent, "listed": "", "device_types": [a_type().pk], "notice_days": 30}
    signed_in(manager).post(f"{LIST}{row.pk}/edit/", {**changed, "opened": form["opened"].value()})
    entry = TrailEntry.objects.get(verb="changed contract")
    assert entry.before == {"notice_days": "90", "decide_by": "2099-10-02", "types": [], "drivers": [str(device)]}
    with pytest.raises(ConflictError):
        edit_contract(row, NewContract(facts={}, covers=Covers(devices=[device])), opened="old", by=BY)


def test_it_is_ended_early_with_a_reason_and_once(manager: Person) -> None:
    """Between its first and its last day; it stays on record."""
    row = a_contract()
    answer = signed_in(manager).post(f"{LIST}{row.pk}/end/", {"on": in_days(999), "why": "They closed"})
    assert "Give a day from its first day to its last." in answer.content.decode()
    signed_in(manager).post(f"{LIST}{row.pk}/end/", {"on": in_days(-1), "why": "They closed"})
    assert "They closed" in page(manager, f"{LIST}{row.pk}/")
    assert "Full care" not in page(manager, LIST)
    assert "Full care" in page(manager, f"{LIST}?show=all")
    with pytest.raises(ConflictError, match="already"):
        end_contract(row, clock.today(), why="again", by=BY)


def test_the_order_the_driver_and_the_tag_say_whom_a_fault_goes_to(technician: Person, ward_nurse: Person) -> None:
    """The contract's company, and the supplier while the driver's own warranty is in force; the ward is not told."""
    maker = a_maker()
    device = a_device(warranty_until=in_days(10), supplier=maker)
    tag = an_open_tag(device)
    a_contract("Care of our drivers")
    tag_page = page(technician, f"/tags/{tag.number}/")
    assert "Care of our drivers" in tag_page
    assert f"a fault goes to {maker}" in tag_page
    assert "Care of our drivers" not in page(ward_nurse, f"/tags/{tag.number}/")
    order = received(device, technician, kind="corrective")
    for shown in (page(technician, f"/bench/orders/{order.number}/"), page(technician, f"/devices/{device}/")):
        assert f"send it to {maker}" in shown
    assert f"a fault goes to {maker}" in page(technician, f"/bench/orders/{order.number}/")


def test_who_sees_and_who_writes(technician: Person, storekeeper: Person, outsider: Person, manager: Person) -> None:
    """Whoever sees reports reads; whoever keeps the register writes; one of another site does not exist."""
    row, shared = a_contract(sites=[a_site()]), a_contract("Everywhere")
    assert status(technician, f"{LIST}{row.pk}/") == status(manager, f"{LIST}{row.pk}/edit/") == 200
    assert status(technician, f"{LIST}new/") == status(storekeeper, LIST) == 403
    assert status(outsider, f"{LIST}{row.pk}/") == 404
    assert status(outsider, f"{LIST}{shared.pk}/") == 200
    with pytest.raises(NotAllowedError):
        end_contract(row, clock.today(), why="mine", by=actor_for(technician))
