"""Which batteries will not last until the next visit, and of which that cannot be told."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleet.batteries import actions, queries
from fleet.batteries.models import Fitting, Forecast, RiskLimit
from fleet.batteries.tasks import refresh_forecasts
from fleet.jobs.handlers import Run, kinds
from fleet.people.models import Person
from fleet.registry.models import Device, Place
from fleet.web import clock
from tests.batteries.builders import (
    START,
    a_fitted_device,
    a_forecast,
    a_history,
    a_logged_test,
    no_forecast,
    signed_in,
    words,
)
from tests.builders import BY, a_device, a_site, a_type, a_ward

pytestmark = pytest.mark.django_db


def shown(client: Client, query: str = "") -> str:
    return words(client, f"/batteries/?{query}")


def saved(client: Client, query: str = "") -> list[str]:
    answer = client.get(f"/batteries/will-not-last.csv?{query}")
    return b"".join(answer.streaming_content).decode().splitlines()


def test_the_likeliest_stand_first(manager: Person) -> None:
    """Packs with at least the chance, sorted by it; those below their level stand elsewhere."""
    chances = [0.12, 0.6, 0.09, 0.3]
    rows = [a_forecast(a_fitted_device(), chance_before_visit=chance) for chance in chances]
    a_forecast(a_fitted_device(), chance_before_visit=1.0, already_below=True)
    assert list(queries.will_not_last(manager)) == [rows[1], rows[3], rows[0]]
    assert list(queries.will_not_last(manager, chance=0.05)) == [rows[1], rows[3], rows[0], rows[2]]


@pytest.mark.parametrize(
    ("query", "count"), [("chance=0.05", 3), ("chance=0.1", 2), ("chance=0.25", 1), ("", 2), ("chance=own", 2)]
)
def test_the_share_can_be_chosen(desk: Client, query: str, count: int) -> None:
    """1 in 20, 1 in 10 or 1 in 4, or its own limit (usual; assumed 1 in 10); the heading counts the rows."""
    for chance in (0.07, 0.2, 0.5):
        a_forecast(a_fitted_device(), chance_before_visit=chance)
    page = shown(desk, query)
    assert f"Will not last until the next visit: {count}" in page
    assert page.count('data-label="Driver"') == count


def test_a_share_that_is_no_choice_is_the_usual(desk: Client) -> None:
    """A typed address with another share shows what is over its own limit, and says so in the filter."""
    a_forecast(a_fitted_device(), chance_before_visit=0.07)
    page = shown(desk, "chance=0.07")
    assert "Will not last until the next visit: 0" in page
    assert '<option value="own" selected>its own limit</option>' in page


def test_each_driver_is_held_to_its_own_limit(desk: Client, manager: Person) -> None:
    """One with 7 in 100 under a limit of 1 in 20 stands there, one with 2 in 10 under 3 in 10 does not, nor at it."""
    strict = a_forecast(a_fitted_device(), chance_before_visit=0.07, limit=0.05)
    a_forecast(a_fitted_device(), chance_before_visit=0.2, limit=0.3)
    a_forecast(a_fitted_device(), chance_before_visit=0.1, limit=0.1)
    assert list(queries.will_not_last(manager)) == [strict]
    assert queries.counts(manager).will_not_last == 1
    assert len(saved(desk)) == 2
    assert "Will not last until the next visit: 2" in shown(desk, "chance=0.1")


def test_only_drivers_in_service_stand_here(manager: Person) -> None:
    """One that is out of use is looked at anyway, and stands in no list."""
    row = a_forecast(a_fitted_device())
    a_fitted_device()
    Device.objects.update(condition="out_of_use")
    assert queries.counts(manager) == queries.Counts(0, 0, 0, 0, 0, 0, 0, 0, None)
    Device.objects.filter(pk=row.device_id).update(condition="in_service")
    assert queries.counts(manager).will_not_last == 1


def test_each_list_holds_its_own(desk: Client, manager: Person) -> None:
    """The numbers above the page, the headings and the rows agree, list by list."""
    lasting = a_forecast(a_fitted_device())
    below = a_forecast(a_fitted_device(), already_below=True)
    unknown = no_forecast(a_fitted_device())
    unvisited = a_forecast(a_fitted_device(), next_visit=None, chance_before_visit=None)
    urgent = a_forecast(a_fitted_device(), chance_before_visit=0.05, advice="call_in")
    waiting = a_forecast(a_fitted_device(), chance_before_visit=0.05, advice="at_visit")
    bare = a_device()
    for row in (lasting, below, unknown, unvisited, urgent, waiting):
        a_logged_test(row.device)
    untested = a_fitted_device()
    expected = {
        "will_not_last": lasting.device,
        "below": below.device,
        "at_once": urgent.device,
        "at_visit": waiting.device,
        "never": untested,
        "not_enough": unknown.device,
        "no_visit": unvisited.device,
        "no_pack": bare,
    }
    for name, device in expected.items():
        page = shown(desk, f"list={name}")
        assert page.count('data-label="Driver"') == 1, name
        assert f"/devices/{device.asset_number}/" in page
        assert saved(desk, f"list={name}")[1].startswith(device.asset_number)
    counts = queries.counts(manager)
    numbers = (counts.will_not_last, counts.already_below, counts.at_once, counts.at_visit, counts.never_tested)
    assert (*numbers, counts.not_enough, counts.without_visit, counts.without_pack) == (1,) * 8


def test_a_crossing_beyond_the_horizon_stands_last(manager: Person) -> None:
    """Without a visit the earliest crossing comes first, on every database; one too far off to tell comes last."""
    gone = {"next_visit": None, "chance_before_visit": None}
    far = a_forecast(a_fitted_device(), **gone, crossing_on=None, crossing_early=None, crossing_late=None)
    near = a_forecast(a_fitted_device(), **gone)
    assert list(queries.without_visit(manager)) == [near, far]


def test_a_pack_below_its_level_has_no_chance_but_a_reason(desk: Client) -> None:
    """The list of those below tells what says so, and no chance of what has happened already."""
    a_forecast(a_fitted_device(), already_below=True, last_test_below=True, chance_before_visit=0.3)
    page = shown(desk, "list=below")
    assert "its latest test" in page
    assert "3 in 10" not in page


def test_packs_to_take_out_stand_by_their_chance(manager: Person) -> None:
    """At once: below first, then by the chance until the visit. At the visit: by the chance until the one after it."""
    call_in = [a_forecast(a_fitted_device(), chance_before_visit=each, advice="call_in") for each in (0.3, 0.6)]
    below = a_forecast(a_fitted_device(), chance_before_visit=None, already_below=True, advice="replace")
    assert list(queries.at_once(manager)) == [below, call_in[1], call_in[0]]
    at_visit = [
        a_forecast(a_fitted_device(), chance_before_following=each, advice="at_visit") for each in (0.2, None, 0.5)
    ]
    assert list(queries.at_visit(manager)) == [at_visit[2], at_visit[0], at_visit[1]]


def test_what_is_advised_stands_there_with_its_reason(desk: Client) -> None:
    """In the table and in the file, with the numbers behind it; a limit that nobody set is called assumed."""
    facts = {"following_visit": date(2028, 3, 14), "chance_before_following": 0.4, "limit": 0.1}
    a_forecast(a_fitted_device(), advice="at_visit", **facts)
    reason = "4 in 10 chance of falling under 80 % before 14 Mar 2028, the visit after it"
    page = shown(desk, "list=at_visit")
    assert "Replace at the next visit</span>" in page
    assert f"{reason}; the limit is 1 in 10, assumed until you set one" in page
    actions.set_limit("", RiskLimit.WardKind.OTHER, {"limit": Decimal("0.1"), "why": "agreed"}, by=BY)
    assert f"{reason}; your limit is 1 in 10" in shown(desk, "list=at_visit")
    header, line = saved(desk, "list=at_visit")
    assert header.endswith("Visit after it,Chance before the visit after it,Limit,Advice,Reason")
    assert "2028-03-14,0.4,0.1,Replace at the next visit," in line
    assert "your limit is 1 in 10" in line.replace("\u00a0", " ")


def test_a_limit_for_other_drivers_leaves_this_one_assumed(manager: Person) -> None:
    """As on the driver's page: only a limit for its pool and its kind of ward counts."""
    facts = {"limit": Decimal("0.1"), "why": "agreed"}
    a_forecast(a_fitted_device(home=a_ward("Ward 7")), advice="call_in", limit=0.1)
    actions.set_limit("training", RiskLimit.WardKind.ANY, facts, by=BY)
    actions.set_limit("", RiskLimit.WardKind.CRITICAL, facts, by=BY)

    def reason() -> str:
        found = queries.reason_of(queries.at_once(manager).get())
        return found.reason if found else ""

    assert "assumed until you set one" in reason()
    Place.objects.update(critical=True)
    assert "your limit is" in reason()


def test_a_low_test_that_is_likely_wrong_asks_for_another_in_the_list(desk: Client) -> None:
    """The list says what the driver's page says: keep the driver out of use until it is tested again."""
    device = a_fitted_device()
    test = a_logged_test(device)
    a_forecast(device, advice="replace", already_below=True, last_test_below=True, doubtful=[test.pk])
    assert "that test is likely wrong: test it again" in shown(desk, "list=at_once")
    Forecast.objects.update(doubtful=[])
    page = shown(desk, "list=at_once")
    assert "its latest test was under 80 %" in page
    assert "likely wrong" not in page


def test_a_later_test_after_a_short_charge_puts_no_doubt_on_a_low_full_test(desk: Client) -> None:
    """The verdict is that of the latest full test; that a short run after it is likely wrong says nothing of it."""
    device = a_fitted_device()
    a_logged_test(device)
    later = {"started_at": START + timedelta(days=9), "stopped_at": START + timedelta(days=9, hours=1)}
    short = a_logged_test(device, charge_hours=Decimal(2), **later)
    a_forecast(device, advice="replace", already_below=True, last_test_below=True, doubtful=[short.pk])
    for page in (shown(desk, "list=at_once"), words(desk, f"/batteries/device/{device.asset_number}/panel/")):
        assert "its latest test was under 80 %" in page
        assert "that test is likely wrong" not in page


def test_the_reasons_cost_no_query_a_row(manager: Person, django_assert_num_queries: Any) -> None:
    """All rows with all that their reasons need are one query, beside the one for the person's places."""
    for _ in range(3):
        device = a_fitted_device()
        a_logged_test(device)
        a_forecast(device, advice="call_in")
    with django_assert_num_queries(2):
        assert len([queries.reason_of(row) for row in queries.at_once(manager)]) == 3


def test_a_void_test_leaves_a_pack_untested(manager: Person) -> None:
    """A test that counts for nothing is none; a pack that was taken out is nobody's worry."""
    device = a_fitted_device()
    test = a_logged_test(device)
    assert not queries.never_tested(manager)
    actions.void_test(test, why="other driver", by=BY)
    assert [stay.device for stay in queries.never_tested(manager)] == [device]
    actions.remove(device, on=clock.today(), why=Fitting.Why.AGE, by=BY, out_of_use=True)
    assert not queries.never_tested(manager)


def test_types_without_a_forecast_say_why(desk: Client) -> None:
    """One row a type, with the reason and the number of drivers, and no figure of what they would carry."""
    for _ in range(2):
        no_forecast(a_fitted_device())
    page = shown(desk, "list=not_enough")
    assert "2 packs with a full runtime test, 8 needed" in page
    assert f'href="?list=not_enough&amp;type={a_type().pk}">2</a>' in page
    assert "Expected today" not in page


def test_the_lists_narrow_by_place_type_and_pool(desk: Client) -> None:
    """A driver of Ward 7, of another type or in the loan pool is found by that alone, in every kind of list."""
    ward, sable = a_ward("Ward 7"), a_type("Sable")
    a_forecast(a_fitted_device())
    a_forecast(a_fitted_device(home=ward))
    a_forecast(a_fitted_device(device_type=sable))
    a_forecast(a_fitted_device(pool="loan"))
    for query in (f"home={ward.pk}", f"type={sable.pk}", "pool=loan"):
        assert shown(desk, query).count('data-label="Driver"') == 1
        assert shown(desk, f"list=never&{query}").count('data-label="Driver"') == 1
    assert shown(desk, f"site={a_site().pk}").count('data-label="Driver"') == 4


def test_everything_sorts(desk: Client) -> None:
    """Each column that offers to sort can be sorted both ways."""
    a_forecast(a_fitted_device())
    for column in ("asset", "chance", "next_visit", "crossing_on", "fraction_today", "pack", "type", "home"):
        for order in ("", "-"):
            assert shown(desk, f"sort={order}{column}").count('data-label="Driver"') == 1


def test_old_forecasts_say_so(desk: Client) -> None:
    """The page says when the oldest was made, and that a night was missed."""
    a_forecast(a_fitted_device(), made_at=clock.now() - timedelta(hours=12))
    assert "older than 36 hours" not in shown(desk)
    a_forecast(a_fitted_device(), made_at=clock.now() - timedelta(hours=40))
    assert "older than 36 hours" in shown(desk)


def test_the_page_promises_nothing(desk: Client) -> None:
    """Also without any row it says that a forecast is no test."""
    page = shown(desk)
    assert "A forecast is no test and clears no driver for use" in page
    assert "No battery has that chance" in page


def test_the_file_carries_what_the_page_rounds(desk: Client) -> None:
    """Chance and fraction as numbers, dates as dates."""
    a_forecast(a_fitted_device(), chance_before_visit=0.2137)
    (line,) = saved(desk)[1:]
    assert "0.2137" in line
    assert "2028-03-01" in line


def test_another_site_sees_its_own(outsider: Person) -> None:
    """Neither rows, numbers nor file tell of drivers elsewhere."""
    ours = a_forecast(a_fitted_device())
    client = signed_in(outsider)
    assert ours.device.asset_number not in shown(client)
    assert len(saved(client)) == 1
    assert queries.counts(outsider) == queries.Counts(0, 0, 0, 0, 0, 0, 0, 0, None)


def test_a_pack_taken_out_since_the_night_is_gone_at_once(manager: Person) -> None:
    """A pack that was taken out since its forecast was made stands in no list any more."""
    row = a_forecast(a_fitted_device())
    actions.remove(row.device, on=clock.today(), why=Fitting.Why.AGE, by=BY, out_of_use=True)
    assert not queries.will_not_last(manager)


class TestNight:
    """The job of the night."""

    def run(self) -> dict[str, int]:
        return refresh_forecasts(Run(1, "refresh_forecasts", {}, clock.today(), 1, lambda _done, _total: None))

    def test_it_is_registered(self) -> None:
        """The timetable finds the handler by its name."""
        assert kinds()["refresh_forecasts"].handle is refresh_forecasts

    def test_it_forecasts_and_takes_packs_out_of_retired_drivers(self) -> None:
        """The counts tell what was done, and a second run the same night finds nothing more to take out."""
        devices = a_history()
        retired = devices[0]
        Device.objects.filter(pk=retired.pk).update(condition="retired", retired_on=date(2026, 10, 1))
        first, second = self.run(), self.run()
        assert first == {"taken out of retired drivers": 1, "forecast": 11, "without enough data": 0}
        assert second == {**first, "taken out of retired drivers": 0}
        stay = Fitting.objects.get(device=retired)
        assert (stay.removed_why, stay.removed_on) == ("retired", date(2026, 10, 1))
        assert not Forecast.objects.filter(device=retired).exists()
