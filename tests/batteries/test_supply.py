"""How packs of a type are bought: delivery, service level, lots, what is on order, price."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client

from fleet.audit.changes import fingerprint
from fleet.audit.models import TrailEntry
from fleet.batteries import actions
from fleet.batteries.models import PackPurchase, PackSupply
from fleet.batteries.policy_wording import SERVICE_LEVELS, service_words
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import DeviceType
from fleet.web import clock
from tests.batteries.builders import a_pack, plain, signed_in, words
from tests.batteries.outlooks import LEVELS
from tests.builders import BY, a_type

pytestmark = pytest.mark.django_db


@pytest.fixture
def kind(db: None) -> DeviceType:
    return a_type()


@pytest.fixture
def store(storekeeper: Person) -> Client:
    return signed_in(storekeeper)


def typed(**changes: str) -> dict[str, str]:
    """The form as it opens: 28 days, 19 in 20, one by one, no price."""
    usual = {
        "lead_days": "28",
        "service_level": "0.95",
        "multiple": "1",
        "price": "",
    }
    return {**usual, "opened": fingerprint(PackSupply(), actions.SUPPLY_FACTS), **changes}


def page_of(kind: DeviceType) -> str:
    return f"/batteries/supply/{kind.pk}/"


def test_until_it_is_stated_the_usual_is_assumed(store: Client, kind: DeviceType) -> None:
    """The page says so, and nothing is on record yet."""
    a_pack(kind)
    page = words(store, page_of(kind))
    assert "1 pack in stock. Nobody has stated it yet; until then this is assumed: 28 days to delivery" in page
    assert not PackSupply.objects.exists()


def test_it_is_stated_by_who_keeps_the_store(store: Client, storekeeper: Person, kind: DeviceType) -> None:
    """All at once, with who and when, and the trail tells it."""
    sent = typed(lead_days="42", service_level="0.98", multiple="4", price="61,50")
    answer = store.post(page_of(kind), sent)
    assert answer.url == f"/batteries/fleet/?type={kind.pk}"
    row = PackSupply.objects.get()
    assert (row.lead_days, row.service_level, row.multiple) == (42, 0.98, 4)
    assert (row.price, row.set_by) == (Decimal("61.50"), str(storekeeper))
    entry = TrailEntry.objects.latest("pk")
    assert (entry.verb, entry.before) == ("stated supply of packs", {})
    assert entry.after["price"] == "61.50"
    assert "Stated by" in words(store, page_of(kind))


def test_a_change_tells_only_what_differs(kind: DeviceType) -> None:
    """Before and after of the changed fields; the same again leaves no trail."""
    actions.set_supply(kind, {"lead_days": 42, "multiple": 4}, by=BY)
    actions.set_supply(kind, {"lead_days": 35, "multiple": 4}, by=BY)
    entry = TrailEntry.objects.latest("pk")
    assert (entry.before, entry.after) == ({"lead_days": 42}, {"lead_days": 35})
    actions.set_supply(kind, {"lead_days": 35, "multiple": 4}, by=BY)
    assert TrailEntry.objects.latest("pk") == entry
    assert PackSupply.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"multiple": "0"}, "greater than or equal to 1"),
        ({"service_level": "0.7"}, "Select a valid choice"),
        ({"lead_days": "-1"}, "greater than or equal to 0"),
        ({"price": "0"}, "greater than or equal to 0.01"),
    ],
)
def test_what_cannot_be_is_refused(store: Client, kind: DeviceType, changes: dict[str, str], wrong: str) -> None:
    """In words beside the field, and nothing is saved."""
    answer = store.post(page_of(kind), typed(**changes))
    assert answer.status_code == 422
    assert wrong in plain(answer.content)
    assert not PackSupply.objects.exists()


def test_two_who_state_it_first_do_not_overwrite_each_other(store: Client, kind: DeviceType) -> None:
    """The second is told what the first stated, also where there was no row before."""
    actions.set_supply(kind, {"lead_days": 14}, by=BY)
    answer = store.post(page_of(kind), typed(lead_days="42"))
    page = plain(answer.content)
    assert answer.status_code == 422
    assert "was changed by somebody else" in page
    assert "<dd>14</dd>" in page
    with pytest.raises(ConflictError):
        actions.set_supply(kind, {"lead_days": 7}, by=BY, opened=fingerprint(PackSupply(), actions.SUPPLY_FACTS))
    held = fingerprint(PackSupply.objects.get(), actions.SUPPLY_FACTS)
    assert store.post(page_of(kind), typed(lead_days="42", opened=held)).status_code == 302


def test_who_does_not_keep_the_store_reads_it(technician: Person, kind: DeviceType) -> None:
    """A technician sees how packs are bought in words, and may not state it."""
    actions.set_supply(kind, {"service_level": 0.9}, by=BY)
    with clock.at(datetime(2026, 12, 1, 9, tzinfo=UTC)):
        actions.order_packs(kind, 3, date(2027, 1, 8), by=BY)
    client = signed_in(technician)
    page = words(client, page_of(kind))
    assert "9 in 10 times" in page
    assert "8 Jan 2027" in page
    assert "<form id" not in page
    assert "Note an order" not in page
    assert client.post(page_of(kind), typed()).status_code == 403
    with pytest.raises(NotAllowedError):
        actions.set_supply(kind, {"lead_days": 7}, by=actor_for(technician))


def test_a_type_without_a_fitted_pack_has_no_supply(store: Client) -> None:
    """Cells are bought elsewhere."""
    assert store.get(page_of(a_type("TW-99", power=DeviceType.Power.CELLS))).status_code == 404


def test_each_level_that_can_be_chosen_is_worked_out_by_the_night() -> None:
    """The levels offered are those that the demand is kept for."""
    assert [f"{level:g}" for level in SERVICE_LEVELS] == list(LEVELS)
    assert service_words(0.95) == "19 in 20 times"
    assert service_words(0.97) == "97\xa0% of the time"


def test_a_wrong_level_is_refused_by_the_action_too(kind: DeviceType) -> None:
    """The rules of the row hold whoever asks."""
    with pytest.raises(BadValueError):
        actions.set_supply(kind, {"service_level": 0.2}, by=BY)


def test_several_orders_are_on_their_way_and_packs_count_against_the_first(store: Client, kind: DeviceType) -> None:
    """Noted on the page; a pack that was on order counts as come, the first expected first; no other does."""
    today = clock.today()
    order = f"/batteries/supply/{kind.pk}/order/"
    for many, days in (("5", 30), ("1", 10)):
        store.post(order, {"quantity": many, "expected_on": (today + timedelta(days=days)).isoformat()})
    first, second = PackPurchase.objects.order_by("expected_on")
    assert (first.quantity, second.quantity) == (1, 5)
    new = {"for_type": kind.pk, "maker": kind.maker.pk, "part_number": "FC-1", "chemistry": "NiMH"}
    assert "checked" in words(store, "/batteries/packs/new/").split('name="ordered"')[1][:90]
    store.post("/batteries/packs/new/", {**new, "ordered": "on"})
    store.post("/batteries/packs/new/", {**new, "ordered": "on"})
    store.post("/batteries/packs/new/", new)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.outstanding, first.closed_on, second.outstanding, second.closed_on) == (0, today, 4, None)
    assert TrailEntry.objects.filter(verb="packs arrived").count() == 2


def test_an_order_is_called_off_with_its_reason(store: Client, technician: Person, kind: DeviceType) -> None:
    """It is expected no more, once, and stays on record; who does not keep the store may not."""
    row = actions.order_packs(kind, 3, clock.today(), by=BY)
    address = f"/batteries/purchases/{row.pk}/call-off/"
    assert signed_in(technician).post(address, {"why": "no"}).status_code == 403
    assert "Say why it comes no more." in plain(store.post(address, {"why": " "}, follow=True).content)
    assert "are expected no more" in plain(store.post(address, {"why": "twice ordered"}, follow=True).content)
    assert "is closed already" in plain(store.post(address, {"why": "again"}, follow=True).content)
    row.refresh_from_db()
    assert (row.closed_why, row.arrived) == ("twice ordered", 0)


@pytest.mark.parametrize(
    ("many", "days", "wrong"), [("0", 5, "greater than or equal to 1"), ("2", -1, "This day is past")]
)
def test_an_order_that_cannot_be_is_refused(store: Client, kind: DeviceType, many: str, days: int, wrong: str) -> None:
    """In words, and nothing is noted."""
    sent = {"quantity": many, "expected_on": (clock.today() + timedelta(days=days)).isoformat()}
    answer = store.post(f"/batteries/supply/{kind.pk}/order/", sent)
    assert answer.status_code == 422
    assert wrong in plain(answer.content)
    assert not PackPurchase.objects.exists()
