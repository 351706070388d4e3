"""The order of a type: what to order when, for the demand and for what the limits ask to replace."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleet.batteries import actions, queries
from fleet.batteries.queries.asked import Asked, asked_by_type
from fleet.core.battery.decision import Advice
from fleet.registry.models import Device
from fleet.web import clock
from tests.batteries.builders import TODAY, a_fitted_device, a_forecast, no_forecast, words
from tests.batteries.ordering import asked_of, shown, the_order, with_stock
from tests.builders import BY, a_site, a_type, a_ward

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("today")]


def test_the_order_stands_first_in_words(desk: Client) -> None:
    """How many packs, by when, and why.

    With 2 a month and 3 to be sure, 9 packs are enough to the end of February and short in March (11). The order is
    due 28 days before 1 March, and covers March to May: 15 less 9 are 6.
    """
    with_stock(9)
    page = shown(desk)
    assert (
        "Order 6 packs by 1 Feb 2027: 9 lie on the shelf, and 19 in 20 times that lasts until 28 Feb 2027; "
        "a delivery takes 28 days."
    ) in page


def test_an_order_that_is_late_says_now(desk: Client) -> None:
    """With nothing in stock the order is due today, and may come too late."""
    kind = with_stock(0)
    order = the_order(kind)
    assert order.now
    page = shown(desk)
    assert "none lies on the shelf, fewer than Dec 2026 may need" in page
    assert "packs now: none lies on the shelf" in page
    assert "Even an order placed today may come too late" in page


def test_a_full_shelf_needs_no_order(desk: Client) -> None:
    """52 packs are enough for two years of 48 and 3 to be sure."""
    with_stock(52)
    assert (
        "Nothing need be ordered yet: 52 lie on the shelf, and 19 in 20 times that is enough beyond Nov 2028."
        in shown(desk)
    )


def test_packs_on_order_count_from_the_month_they_come(desk: Client) -> None:
    """6 more from February on put the order off by three months; both stand in the sentence."""
    with_stock(9, on_order=[(6, date(2027, 2, 1))])
    page = shown(desk)
    assert "by 4 May 2027: 9 lie on the shelf and 6 more are expected on 1 Feb 2027" in page
    assert "6 to come, 1 Feb 2027" in page


def test_several_deliveries_count_each_from_its_day(desk: Client) -> None:
    """4 in January and 2 in March: both stand in the sentence and in the figure, and neither is expected early."""
    with_stock(9, on_order=[(2, date(2027, 3, 3)), (4, date(2027, 1, 11))])
    page = shown(desk)
    assert "9 lie on the shelf and 4 more are expected on 11 Jan 2027 and 2 on 3 Mar 2027" in page
    assert "4 to come, 11 Jan 2027" in page
    assert "2 to come, 3 Mar 2027" in page


def test_a_delivery_at_a_months_end_does_not_cover_its_beginning(desk: Client) -> None:
    """None in stock, 3 to replace now, 10 due on 31 January: nothing lasts until then, and the page says so."""
    kind = with_stock(0, on_order=[(10, date(2027, 1, 31))])
    asked_of(kind, Advice.CALL_IN, count=3)
    order = the_order(kind)
    assert (order.lasts_until, order.advice.too_late) == (TODAY.date(), True)
    assert "Even an order placed today may come too late" in shown(desk)


def test_where_a_delivery_is_on_its_way_no_order_of_today_is_asked_for(desk: Client) -> None:
    """9 in stock, 12 to call in, 60 due in twelve days: no order of today comes sooner, and the page says so."""
    kind = with_stock(9, on_order=[(60, date(2026, 12, 7))])
    asked_of(kind, Advice.CALL_IN, count=12)
    assert the_order(kind).waits
    page = shown(desk)
    assert "No new order: 9 lie on the shelf and 60 more are expected on 7 Dec 2026. Until then" in page
    assert "an order of today comes no sooner" in page
    assert "Nothing need be ordered yet" not in page


def test_an_order_that_comes_within_the_month_is_in_time() -> None:
    """On 25 November an order with 28 days' delivery is there on 23 December: a shelf that lasts until then will do.

    5 are enough for the 37 days to the end of December, and 4 for 29 of them: 4 in stock last until the 23rd or 24th.
    """
    order = the_order(with_stock(4))
    assert (order.lasts_until, order.advice.too_late, order.by) == (date(2026, 12, 23), False, date(2026, 11, 26))
    assert the_order(with_stock(3, a_type("TW-20"))).advice.too_late


def test_a_longer_delivery_and_lots_are_heeded() -> None:
    """61 days before the month they are needed for, and rounded up to whole boxes of four."""
    kind = with_stock(9, lead_days=61, multiple=4)
    order = the_order(kind)
    assert order.by == date(2026, 12, 30)
    assert order.advice.quantity == 8


def test_a_surer_shelf_is_ordered_for_earlier() -> None:
    """99 in 100 asks for two packs more than 19 in 20, which is a month's need."""
    usual = the_order(with_stock(9))
    surer = the_order(with_stock(9, a_type("TW-20"), service_level=0.99))
    assert (surer.by, usual.by) == (date(2027, 1, 4), date(2027, 2, 1))


def test_a_removed_pack_is_not_in_stock() -> None:
    """Only packs that were never fitted lie on the shelf."""
    kind = with_stock(2)
    device = a_fitted_device(device_type=kind)
    actions.remove(device, on=date(2026, 11, 1), why="worn", by=BY, out_of_use=True)
    assert the_order(kind).stand.on_shelf == 2


def test_a_forecast_of_last_month_is_read_from_this_month_on() -> None:
    """On 2 January, before the night has made a new one, the month that is over stands in no table."""
    kind = with_stock(9)
    stand = next(stand for stand in queries.stands() if stand.device_type == kind)
    order = queries.order_of(stand, date(2027, 1, 2))
    assert order is not None
    assert next(line.first for line in order.lines) == date(2027, 1, 1)
    assert queries.order_of(stand, date(2029, 1, 2)) is None


def test_replacements_asked_for_stand_in_their_month() -> None:
    """At once and late visits in the first, others in that of the visit; other advice and other types count nowhere."""
    kind, other = with_stock(0), a_type("TW-20")
    asked_of(kind, Advice.REPLACE_NOW)
    asked_of(kind, Advice.CALL_IN, count=2)
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2026, 11, 24))
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2026, 11, 26))
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2027, 3, 31), count=3)
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2028, 11, 30))
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2028, 12, 1))
    asked_of(kind, Advice.WAIT)
    asked_of(kind, Advice.TEST_NOW)
    asked_of(other, Advice.CALL_IN)
    order = the_order(kind)
    assert order.need.asked.tolist() == [5, 0, 0, 3] + [0] * 19 + [1]
    asked = order.asked
    assert (asked.at_once, asked.late, asked.at_visits, asked.total) == (3, 1, 5, 9)


def test_all_sites_and_drivers_out_of_use_are_asked_for() -> None:
    """Packs are bought for all together, as in the demand."""
    kind = with_stock(0)
    far = a_fitted_device(home=a_ward("Ward 9", a_site("Corran Vale")))
    a_forecast(far, advice=Advice.CALL_IN.value)
    Device.objects.filter(pk=far.pk).update(condition="out_of_use")
    assert the_order(kind).asked.at_once == 1


def test_the_order_rests_on_what_the_limits_ask_for_where_that_is_more() -> None:
    """9 in stock are enough to the end of February by the demand; 12 asked for at visits on 20 January are more.

    So the order is due 28 days before that. With delivery then it is for the 91 days to 20 April: by then 13 are enough
    for the demand (11 to the end of March and two thirds of April's 2), which leaves 4 to order.
    """
    kind = with_stock(9)
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2027, 1, 20), count=12)
    order = the_order(kind)
    assert (order.by, order.advice.quantity, order.lasts_until) == (date(2026, 12, 23), 4, date(2027, 1, 19))
    assert [line.enough for line in order.lines[:6]] == [5, 12, 12, 12, 13, 15]
    assert [line.left for line in order.lines[:3]] == [7, 0, 0]


def test_packs_left_in_that_may_fall_under_their_level_are_added() -> None:
    """8 asked for on 20 January and 10 left in with 3 in 10 until then: 3 expected, and 6 enough 19 in 20 times.

    One whose chance is not known adds nothing. By the demand alone 7 would be enough to the end of January.
    """
    kind = with_stock(9)
    visit = date(2027, 1, 20)
    asked_of(kind, Advice.REPLACE_AT_VISIT, visit, count=8)
    for advice in (Advice.WAIT, Advice.SKIP_TEST) * 5:
        a_forecast(a_fitted_device(device_type=kind), advice=advice.value, next_visit=visit, chance_before_visit=0.3)
    no_forecast(a_fitted_device(device_type=kind), advice=Advice.TEST_NOW.value)
    order = the_order(kind)
    assert [line.enough for line in order.lines[1:3]] == [14, 14]
    assert order.need.expected[1] == pytest.approx(11)
    assert order.lasts_until == date(2027, 1, 19)


def test_packs_left_in_are_spread_until_their_visit() -> None:
    """Three until a visit in four days, and two until one that is late: these today."""
    today = TODAY.date()
    asked = Asked(left_in={today + timedelta(days=4): 3.0, today - timedelta(days=9): 2.0})
    assert asked.left_in_by_day(today, 5).tolist() == pytest.approx([2.75, 3.5, 4.25, 5, 5])
    assert Asked().left_in_by_day(today, 2).tolist() == [0, 0]


def test_later_the_demand_overtakes_what_the_limits_ask_for() -> None:
    """4 asked for now are less than the 5 that are enough for December: nothing changes."""
    kind = with_stock(9)
    before = the_order(kind)
    asked_of(kind, Advice.CALL_IN, count=4)
    after = the_order(kind)
    assert (after.by, after.advice, after.lasts_until) == (before.by, before.advice, before.lasts_until)
    # Expected are 2 in December, so that the stock drops by the 4 first, and by 6 in all to the end of February.
    assert [line.left for line in after.lines[:3]] == [5, 5, 3]
    assert [line.left for line in before.lines[:3]] == [7, 5, 3]


def test_more_asked_for_now_than_lies_there_is_too_late(desk: Client) -> None:
    """30 to call in with 9 in stock: order today, and the page warns."""
    kind = with_stock(9)
    asked_of(kind, Advice.CALL_IN, count=30)
    order = the_order(kind)
    assert order.now
    assert order.advice.quantity == 21
    assert "Even an order placed today may come too late" in shown(desk)


def test_both_truths_stand_in_one_paragraph(desk: Client) -> None:
    """What the limits ask for, part by part with a link to each list, and what is expected without it."""
    kind = with_stock(60)
    actions.set_limit("", "any", {"limit": Decimal("0.1"), "why": "agreed"}, by=BY)
    asked_of(kind, Advice.CALL_IN, count=2)
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2026, 11, 1))
    asked_of(kind, Advice.REPLACE_AT_VISIT, date(2027, 11, 20), count=3)
    page = shown(desk)
    lists = "/batteries/?list={}&amp;type=" + str(kind.pk)
    assert (
        f'Your limits ask for 6 replacements: <a href="{lists.format("at_once")}">2 now</a>, '
        f'<a href="{lists.format("at_visit")}">1 at visits that are late</a>, '
        f'<a href="{lists.format("at_visit")}">3 at visits until Nov 2027</a>. '
        "Without them 24 packs are expected to fall under their level by the end of Nov 2027."
    ) in page
    assert "outlined: replacements that the limits ask for" in page
    assert page.count('class="battery-asked"') == 2
    assert words(desk, f"/batteries/?list=at_visit&type={kind.pk}").count('data-label="Driver"') == 4


def test_without_anything_asked_for_the_page_says_so(desk: Client) -> None:
    """A limit that nobody set is called assumed, and the figure has no outlines."""
    with_stock(9)
    page = shown(desk)
    assert "The limit that is assumed asks for no replacement now or at the next visits." in page
    assert "outlined:" not in page


def test_what_the_limits_ask_for_costs_one_query(desk: Client, django_assert_num_queries: Any) -> None:
    """However many types there are."""
    for model in ("TW-10", "TW-20", "Sable"):
        asked_of(with_stock(1, a_type(model)), Advice.CALL_IN)
    with django_assert_num_queries(1):
        found = asked_by_type(clock.today())
    assert {asked.at_once for asked in found.values()} == {1}
    assert len(found) == 3
