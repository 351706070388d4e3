"""Ten to test today: who stands on the sheet, in which order, why, and how the rack begins with them."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils.timezone import localdate

from fleet.batteries import queries
from fleet.batteries.models import RuntimeTest
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock, phrases
from tests.batteries.builders import (
    START,
    a_fitted_device,
    a_forecast,
    a_logged_test,
    plain,
    signed_in,
    typed_rack,
    words,
)
from tests.builders import a_site, a_type, a_ward

pytestmark = pytest.mark.django_db

NEAR = {
    "advice": "test",
    "limit": 0.1,
    "chance_before_visit": 0.02,
    "following_visit": date(2028, 3, 14),
    "chance_before_following": 0.09,
    "test_clears_at": 0.84,
    "test_clears_chance": 0.6,
}

SHORT = {"charge_hours": Decimal(2)}


def shown(client: Client, query: str = "") -> str:
    return words(client, f"/batteries/rack/sheet/?{query}")


def a_tested_device() -> Device:
    """A driver with one full test in March 2026."""
    device = a_fitted_device()
    a_logged_test(device)
    return device


def on_sheet(person: Person, count: int = 10) -> list[Device]:
    return [row.stay.device for row in queries.sheet(queries.testable(person), count).rows]


def test_where_a_test_settles_most_comes_first(technician: Person) -> None:
    """By the worth of the test; one that settles next to nothing is left out."""
    worths = [0.2, 0.7, 0.01, 0.4]
    devices = [a_tested_device() for _ in worths]
    for device, worth in zip(devices, worths, strict=True):
        a_forecast(device, **NEAR, test_worth=worth)
    assert on_sheet(technician)[:3] == [devices[1], devices[3], devices[0]]


def test_then_come_the_doubtful_the_untested_and_those_too_long_ago(technician: Person) -> None:
    """After what a test settles: a test in doubt, no full test at all, and the longest since the last."""
    sure, long_ago, worth, jump = (a_tested_device() for _ in range(4))
    never = a_fitted_device()
    a_forecast(sure, advice="wait", test_worth=0.0)
    a_forecast(long_ago, advice="test", limit=0.1, test_worth=0.0)
    a_forecast(worth, **NEAR, test_worth=0.3)
    a_forecast(jump, advice="wait", has_jump=True, test_worth=0.0)
    assert on_sheet(technician) == [worth, jump, never, long_ago]


def test_a_pack_that_a_test_has_condemned_needs_no_other(technician: Person) -> None:
    """It is replaced; its driver takes no place on the rack."""
    a_forecast(a_tested_device(), **{**NEAR, "advice": "replace"}, test_worth=0.9, last_test_below=True)
    assert on_sheet(technician) == []


def test_only_drivers_in_service_and_of_ones_own_places_stand_there(technician: Person) -> None:
    """One on the bench is tested there anyway; one of another site is not ours to fetch."""
    out = a_fitted_device()
    Device.objects.filter(pk=out.pk).update(condition="out_of_use")
    a_fitted_device(home=a_ward("Ward 1", a_site("Corran Vale")))
    assert on_sheet(technician) == []


@pytest.mark.parametrize(("query", "count", "title"), [("", 10, "Ten"), ("count=5", 5, "Five"), ("count=7", 10, "Ten")])
def test_how_many_can_be_chosen(bench: Client, query: str, count: int, title: str) -> None:
    """Five, ten or twenty; another number in the address is ten."""
    for _ in range(12):
        a_fitted_device()
    page = shown(bench, query)
    assert f"<h1>{title} to test today</h1>" in page
    assert page.count('data-label="Driver"') == count


def test_the_sheet_narrows_by_where_a_driver_is_its_type_and_pool(bench: Client) -> None:
    """A driver of Ward 7 that stands in Ward 9 is fetched from Ward 9; a site holds its wards."""
    nine, seven = a_ward("Ward 9"), a_ward("Ward 7")
    moved = a_fitted_device(home=seven)
    Device.objects.filter(pk=moved.pk).update(place=nine)
    sable = a_fitted_device(device_type=a_type("Sable"))
    loan = a_fitted_device(pool="loan")
    asked = {f"place={nine.pk}": moved, f"type={sable.device_type_id}": sable, "pool=loan": loan}
    for query, device in asked.items():
        page = shown(bench, query)
        assert page.count('data-label="Driver"') == 1, query
        assert device.asset_number in page
    assert "No driver here is worth a test today" in shown(bench, f"place={seven.pk}")
    assert shown(bench, f"place={a_site().pk}").count('data-label="Driver"') == 3


def test_each_row_says_why_in_words(bench: Client) -> None:
    """Near its limit with both chances, in doubt, never tested, too long ago, or too little measured of its like."""
    a_forecast(a_tested_device(), **NEAR, test_worth=0.3)
    a_forecast(a_tested_device(), advice="wait", has_set_aside=True)
    old = a_tested_device()
    a_forecast(old, advice="test", test_worth=0.0)
    tested = RuntimeTest.objects.get(pack__fittings__device=old).started_at
    a_forecast(a_tested_device(), advice="test", basis="guess", test_worth=0.0)
    a_fitted_device()
    page = shown(bench)
    for said in (
        "Near its limit: 9 % against 10 %; a test would settle it",
        "A test was set aside as likely wrong: test again",
        f"Too long without a full test: {phrases.ago(localdate(tested), clock.today())}",
        "Too little of its type was measured",
        "Never had a full test",
    ):
        assert said in page


def test_each_row_says_where_to_fetch_it_and_how_long_it_takes(bench: Client) -> None:
    """Last seen place and when; its charge, and the rated 7 h times what it is expected to carry."""
    device = a_tested_device()
    a_forecast(device, **NEAR, test_worth=0.3, fraction_today=0.86)
    seen = clock.now() - timedelta(days=3)
    Device.objects.update(last_seen_place=a_ward("Ward 9"), last_seen_at=seen, own_charging_hours=Decimal(14))
    page = shown(bench)
    assert "Ward 9" in page
    assert "seen 3 days ago" in page
    assert '14 h, then<span class="block">about 6 h</span>' in page
    assert "Charge 14 h, then the longest run takes about 6 h" in page
    assert "about 20 h in all" in page
    assert "2 Mar 2026" in page


def test_a_void_or_stopped_test_is_no_full_test(technician: Person) -> None:
    """A driver with nothing but a run stopped early and one after a short charge never had a full test."""
    device = a_fitted_device()
    a_logged_test(device, stop="by_hand")
    a_logged_test(device, started_at=START + timedelta(days=9), stopped_at=START + timedelta(days=9, hours=5), **SHORT)
    (row,) = queries.sheet(queries.testable(technician), 10).rows
    assert (row.why, row.last_full) == ("never had a full test", None)
    assert "Only 1 is worth a test now" in shown(signed_in(technician))


def test_a_full_test_takes_a_pack_off_the_untested(technician: Person) -> None:
    """Once it ran flat, and nothing else speaks for it, it has its place no more."""
    device = a_fitted_device()
    assert on_sheet(technician) == [device]
    a_logged_test(
        device, started_at=datetime(2026, 11, 2, 8, 0, tzinfo=UTC), stopped_at=datetime(2026, 11, 2, 14, 0, tzinfo=UTC)
    )
    assert on_sheet(technician) == []


def test_an_empty_sheet_says_why(bench: Client) -> None:
    """Nothing to test is told, and no rack is offered."""
    page = shown(bench)
    assert "No driver here is worth a test today" in page
    assert "Start the rack" not in page


def test_the_sheet_warns_before_the_tests(bench: Client) -> None:
    """Hot, swollen or leaking packs are not put on the rack, whatever stands on the sheet."""
    a_fitted_device()
    page = shown(bench)
    assert "hot, swollen or leaking is taken out at once" in page
    assert "A forecast is not a test" in page


def test_the_rack_begins_with_the_ticked_drivers(bench: Client) -> None:
    """Their numbers stand in the first rows, each once, however the address names them; posting them works as typed."""
    one, two = a_fitted_device(), a_fitted_device()
    page = words(bench, f"/batteries/rack/?devices={one},{two}&devices={two}")
    assert f'name="row1-driver" value="{one}"' in page
    assert f'name="row2-driver" value="{two}"' in page
    assert 'name="row3-driver" value=' not in page
    posted = typed_rack([{"driver": one.asset_number, "stopped_at": "13:36"}])
    sent = plain(bench.post(f"/batteries/rack/?devices={one},{two}", posted, follow=True).content)
    assert "1 test logged together" in sent


def test_what_does_not_fit_on_one_rack_begins_the_next(bench: Client) -> None:
    """Ten rows; the other two are linked, not lost."""
    assets = [f"A9{number:03d}" for number in range(12)]
    page = words(bench, f"/batteries/rack/?devices={','.join(assets)}")
    assert f'name="row10-driver" value="{assets[9]}"' in page
    assert f'2 more that you ticked stand on the <a href="?devices={assets[10]}%2C{assets[11]}">next rack</a>' in page


def test_a_reader_sees_the_sheet_but_starts_no_rack(manager: Person, storekeeper: Person) -> None:
    """Whoever sees the fleet may plan; the rack is for those who log tests."""
    a_fitted_device()
    client = signed_in(storekeeper)
    assert "Start the rack" not in shown(client)
    assert shown(signed_in(manager)).count('data-label="Driver"') == 1
