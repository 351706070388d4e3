"""Packs to hold: the need month by month, how the packs stand, and what other limits come to."""

from decimal import Decimal

import pytest
from django.test import Client

from fleet.batteries import actions, queries
from fleet.batteries.models import Forecast, PackSupply
from fleet.core.battery.decision import Advice
from fleet.people.models import Person
from fleet.schedules.models import Plan
from tests.batteries.builders import a_fitted_device, a_forecast, a_logged_test, a_pack, no_forecast, signed_in, words
from tests.batteries.ordering import shown, with_stock
from tests.batteries.outlooks import a_demand, an_outlook
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.schedules.builders import a_plan

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("today")]


def test_the_type_with_the_most_packs_is_shown_unless_another_is_asked_for(desk: Client) -> None:
    """All types stand in the list of orders; one of them in full."""
    small, large = with_stock(1), with_stock(2, a_type("TW-20"))
    a_fitted_device(device_type=large)
    page = shown(desk)
    assert f"<h2>{large}</h2>" in page
    assert page.count(" in stock; ") == 2
    assert f"<h2>{small}</h2>" in shown(desk, f"type={small.pk}")
    assert f"<h2>{large}</h2>" in shown(desk, "type=nonsense")


def test_without_a_forecast_nothing_is_invented(desk: Client) -> None:
    """Before the first night, and where too little is known, there is no order, no figure and no grid."""
    a_fitted_device()
    page = shown(desk)
    assert "There is no forecast of how many packs this type will need." in page
    assert "battery-demand" not in page
    assert "What if" not in page
    an_outlook(basis=Forecast.Basis.NOT_ENOUGH, demand={}, what_if=[])
    assert "There is no forecast of how many packs" in shown(desk)


def test_without_any_type_the_page_says_so(desk: Client) -> None:
    """An empty house has a page too."""
    assert "No type of driver has a fitted pack." in shown(desk)


def test_the_same_numbers_stand_in_the_table_and_in_the_file(desk: Client) -> None:
    """24 months: expected, range, middle, asked for, in all, to be sure, and what is left in stock."""
    kind = with_stock(9)
    page = shown(desk)
    assert page.count('data-label="Left, as expected"') == 24
    answer = desk.get(f"/batteries/fleet.csv?type={kind.pk}")
    lines = b"".join(answer.streaming_content).decode("utf-8-sig").splitlines()
    assert lines[0].split(",")[1] == "Month"
    assert len(lines) == 25
    # Two a month: 4 by the end of January, 7 to be sure, 5 left of 9.
    assert lines[2] == f"{kind},2027-01,2.0,1,2,4,0,4.0,7,0.95,5.0"


def test_the_file_of_all_types_holds_each(desk: Client) -> None:
    """Without a type the file has the months of every one that has a forecast."""
    with_stock(1)
    with_stock(1, a_type("TW-20"))
    lines = b"".join(desk.get("/batteries/fleet.csv").streaming_content).decode().splitlines()
    assert len(lines) == 1 + 2 * 24


def test_each_pack_in_service_lies_in_one_band(manager: Person) -> None:
    """By what is expected of it today; a limit belongs to the band above it, and what is not known is counted too."""
    for fraction in (1.02, 0.95, 0.949, 0.85, 0.8, 0.79, 0.5):
        a_forecast(a_fitted_device(), fraction_today=fraction)
    no_forecast(a_fitted_device())
    a_fitted_device()
    assert queries.bands(manager, a_type()) == [
        ("95 % and over", 2), ("90 to 95 %", 1), ("85 to 90 %", 1), ("80 to 85 %", 1), ("Under 80 %", 2),
        ("Not known", 2),
    ]  # fmt: skip


def test_the_bands_hold_the_readers_drivers_only(manager: Person) -> None:
    """A driver of another site counts for its own people."""
    a_forecast(a_fitted_device(home=a_ward("Ward 9", a_site("Corran Vale"))), fraction_today=0.9)
    assert sum(count for _, count in queries.bands(manager, a_type())) == 0


def test_the_lists_are_a_link_away_with_their_numbers(desk: Client) -> None:
    """Will not last, below, to replace and never tested, each of this type only."""
    kind, other = a_type(), a_type("TW-20")
    a_forecast(a_fitted_device(device_type=kind), chance_before_visit=0.3, advice=Advice.CALL_IN.value)
    device = a_fitted_device(device_type=kind)
    a_logged_test(device)
    a_forecast(device, already_below=True)
    a_forecast(a_fitted_device(device_type=other), chance_before_visit=0.3)
    page = shown(desk, f"type={kind.pk}")
    for name, number in (("will_not_last", 1), ("below", 1), ("at_once", 1), ("at_visit", 0), ("never", 1)):
        address = f"/batteries/?list={name}&amp;type={kind.pk}"
        assert f'href="{address}"' in page
        assert words(desk, address.replace("&amp;", "&")).count('data-label="Driver"') == number


def test_alarms_say_what_to_do(desk: Client) -> None:
    """Each kind has its heading, what was found, and a way on."""
    kinds = ("drift", "technician", "rack", "batch")
    alarms = [{"kind": kind, "label": f"L-{kind}", "tests": 7, "words": f"Found {kind}."} for kind in kinds]
    a_fitted_device()
    an_outlook(alarms=alarms)
    page = shown(desk)
    for expected in (
        "Recent tests lie outside what was expected of them", "Tests by L-technician differ from those of others",
        "Tests at rack position L-rack differ", "Packs with the date code L-batch differ", "Found rack.",
        "Let somebody else repeat two or three of these tests", "tell the maker",
    ):  # fmt: skip
        assert expected in page


def test_the_whole_grid_stands_there_with_the_setting_that_holds_marked(desk: Client) -> None:
    """20 settings, of which the one of most packs (by the last night) and of the shortest plan is marked once."""
    kind = with_stock(1)
    plan = a_plan(device_type=kind, months=6)
    assert plan.active
    a_forecast(a_fitted_device(device_type=kind), limit=0.05)
    page = shown(desk)
    assert page.count('data-label="Visit every') == 20
    assert page.count("as it is now") == 1
    assert "Now there is a limit of 1 in 20 and a visit every 6 months." in page
    # 20 + 6 / 3 - 30 * 0.05 packs, 10 * 0.05 + 6 / 12 drivers.
    assert (
        "a limit of 1 in 20 and a visit every 6 months would come to 20 packs, and 1.0 drivers expected under" in page
    )


def test_another_limit_can_be_tried(desk: Client) -> None:
    """The two selects ask by GET; what holds now stands beside the answer, and nothing is changed by asking."""
    kind = with_stock(1)
    a_plan(device_type=kind, months=12)
    page = shown(desk, f"type={kind.pk}&limit=0.3&every=24")
    assert "a limit of 3 in 10 and a visit every 2 years would come to 19 packs, and 5.0 drivers" in page
    assert "As it is now: 21 packs, and 2.0 drivers" in page
    assert '<option value="0.3" selected>' in page
    assert '<option value="24" selected>' in page
    assert Plan.objects.get(device_type=kind).every_months == 12


def test_a_setting_beside_the_grid_is_said_and_not_marked(desk: Client) -> None:
    """A plan of nine months was not worked out: no cell is marked, and the words say so."""
    kind = with_stock(1)
    a_plan(device_type=kind, months=9)
    page = shown(desk)
    assert "a visit every 9 months, which lies beside what was worked out" in page
    assert "as it is now" not in page


def test_cautions_stand_on_the_page(desk: Client) -> None:
    """A forecast is not a test; maker and policy decide; a hot, swollen or leaking pack is out at once."""
    with_stock(1)
    page = shown(desk)
    assert "A forecast is not a test" in page
    assert "instructions and local policy decide when a pack is replaced" in page
    assert "hot, swollen or leaking is taken out at once" in page


def test_only_who_keeps_the_store_is_asked_to_state_the_supply(technician: Person, storekeeper: Person) -> None:
    """A technician reads how packs are bought; the storekeeper states it."""
    with_stock(1)
    assert "State delivery, orders and price" in shown(signed_in(storekeeper))
    page = shown(signed_in(technician))
    assert "How they are bought" in page
    assert "Delivery of 28 days is assumed" in page


def test_a_nurse_may_not_see_it(ward_nurse: Person) -> None:
    """Who reports faults only has no business with the fleet."""
    for address in ("fleet/", "fleet.csv", "types/", "types.csv", "limits/"):
        assert signed_in(ward_nurse).get(f"/batteries/{address}").status_code == 403


def test_the_limit_that_holds_is_that_of_most_packs() -> None:
    """The last night wrote it beside each pack; before the first it is 1 in 10."""
    assert queries.limit_in_force(a_type()) == 0.1
    for limit in (0.05, 0.2, 0.2):
        a_forecast(a_fitted_device(), limit=limit)
    assert queries.limit_in_force(a_type()) == 0.2
    assert a_device().device_type == a_type()


def test_a_price_not_stated_is_the_middle_of_those_on_record() -> None:
    """What a pack costs as stated; else the middle price on record; else not known."""
    assert queries.pack_price(a_type()) is None
    for price in (40, 44, 90):
        a_pack(price=Decimal(price))
    assert queries.pack_price(a_type()) == 44
    actions.set_supply(a_type(), {"price": Decimal(60)}, by=BY)
    assert queries.pack_price(a_type()) == 60
    assert PackSupply.objects.get().lead_days == 28


def test_a_demand_with_short_lists_is_not_made_up() -> None:
    """The shares of the demand are read as the night wrote them."""
    outlook = an_outlook(demand=a_demand(1.5))
    stand = queries.stands()[0]
    assert stand.outlook == outlook
    assert stand.demand is not None
    assert list(stand.demand.total(0.95)[:3]) == [4, 6, 7]
    # A level between two known ones takes the surer.
    assert list(stand.demand.total(0.96)[:3]) == [5, 7, 8]
