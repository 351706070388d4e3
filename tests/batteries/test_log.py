"""Logging one runtime test: scan, type, and see at once what it is worth."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils.timezone import localtime

from fleet.batteries import actions
from fleet.batteries.models import Fitting, RuntimeTest
from fleet.bench.actions import raise_order
from fleet.bench.models import OrderKind
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import label_token
from fleet.web import clock
from tests.batteries.builders import (
    TODAY,
    a_fitted_device,
    a_history,
    a_logged_test,
    a_test,
    plain,
    signed_in,
    typed_run,
    words,
)
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db


def sent(client: Client, device: Device, **changes: str) -> str:
    """The page that answers a test which was typed in."""
    answer = client.post(f"/batteries/log/?device={device.asset_number}", typed_run(**changes), follow=True)
    return plain(answer.content)


def test_the_page_first_asks_for_a_driver(bench: Client) -> None:
    """A scan field waits, and an unknown number is answered in words with what was typed."""
    assert "data-scan" in words(bench, "/batteries/log/")
    assert "No driver here is known as “NIX”" in words(bench, "/batteries/log/?device=NIX")


def test_every_code_of_a_driver_opens_its_form(bench: Client) -> None:
    """Asset number, serial number, label link and UDI name the same driver."""
    device = a_fitted_device(serial_number="ZX-77", udi="(01)09506000134352(21)ZX-77")
    for code in (device.asset_number, "zx-77", f"https://bench.example/r/{label_token(device)}/", device.udi):
        page = plain(bench.get("/batteries/log/", {"device": code}).content)
        assert f"Runtime test of {device.asset_number}" in page


def test_the_form_is_filled_in_with_what_is_usual(bench: Client) -> None:
    """Charge and rate come from the type, the syringe from the last test, the day is today."""
    device = a_fitted_device()
    a_logged_test(device, syringe_ml=Decimal(30))
    with clock.at(TODAY):
        page = words(bench, f"/batteries/log/?device={device.asset_number}")
    for name, value in {"charge_hours": "10", "rate": "5", "syringe_ml": "30", "started_on": "2026-11-25"}.items():
        assert f'name="{name}" value="{value}"' in page


def test_384_of_480_minutes_meets_and_383_does_not(bench: Client) -> None:
    """The page says what the test is worth exactly, in words, with the mark beside it."""
    a_type().rated_runtimes.update(hours=8)
    passed = sent(bench, a_fitted_device(), stopped_at="14:24")
    assert "6 h 24 min of 8 h rated: 80.0 %, meets the replacement level of 80 %" in passed
    failed = sent(bench, a_fitted_device(), stopped_at="14:23")
    assert "6 h 23 min of 8 h rated: 79.8 %, does not meet the replacement level of 80 %" in failed
    assert "Keep the driver out of use until the pack is replaced" in failed


def test_after_logging_the_next_driver_can_be_scanned(bench: Client) -> None:
    """The answer carries a scan field for the next one."""
    page = sent(bench, a_fitted_device())
    assert "Next driver" in page
    assert "data-scan" in page


@pytest.mark.parametrize(
    ("changes", "minutes"),
    [
        ({"stopped_at": "13:36"}, 336),
        ({"stopped_at": "", "ran": "5:36"}, 336),
        ({"stopped_at": "1336", "ran": "5:36"}, 336),
        ({"stopped_at": "06:00", "confirmed": "on"}, 22 * 60),
        ({"stopped_at": "", "ran": "30:00", "confirmed": "on"}, 1800),
        ({"stopped_at": "14:00", "stopped_on": "2026-03-03", "confirmed": "on"}, 1800),
    ],
)
def test_stop_or_runtime_whichever_was_typed(bench: Client, changes: dict[str, str], minutes: int) -> None:
    """The stop is a time within a day, a time on a day, or a runtime in hours and minutes."""
    sent(bench, a_fitted_device(), **changes)
    assert RuntimeTest.objects.get().ran == timedelta(minutes=minutes)


@pytest.mark.parametrize(("ran", "said"), [("0:50", "0:50 h"), ("9:50", "9:50 h")])
def test_an_unlikely_runtime_is_asked_back_once(bench: Client, ran: str, said: str) -> None:
    """12 % and 140 % of the rated 7 h are asked back with both figures; confirmed, the test says so for good."""
    device = a_fitted_device()
    page = sent(bench, device, stopped_at="", ran=ran)
    assert f"{said} was typed where about 7:00 h was expected of a new pack" in page
    assert 'name="confirmed"' in page
    assert not RuntimeTest.objects.exists()
    assert "Unlikely, and confirmed" in sent(bench, device, stopped_at="", ran=ran, confirmed="on")
    assert RuntimeTest.objects.get().confirmed


def test_a_usual_runtime_is_neither_asked_back_nor_confirmed(bench: Client) -> None:
    """A tick that was left from before confirms nothing; one stopped early by hand is short without a question."""
    device = a_fitted_device()
    assert 'name="confirmed"' not in words(bench, f"/batteries/log/?device={device.asset_number}")
    sent(bench, device, confirmed="on")
    assert not RuntimeTest.objects.get().confirmed
    sent(bench, a_fitted_device(), stopped_at="", ran="0:50", stop="by_hand")
    assert RuntimeTest.objects.count() == 2


def test_no_test_is_begun_under_quarantine(bench: Client) -> None:
    """One that began before it may be logged; one begun since is refused until the quarantine is lifted."""
    device = a_fitted_device()
    an_open_tag(device, harm="yes")
    began = localtime(device.quarantines.get().opened_at)
    later = began - timedelta(hours=1)
    device.quarantines.update(opened_at=later - timedelta(days=2))
    fresh = a_test(device, started_at=later - timedelta(hours=8), stopped_at=later - timedelta(hours=2))
    with pytest.raises(BadValueError, match="no test is begun on it until that is lifted") as refused:
        actions.log_test(fresh, by=BY)
    assert refused.value.field == "started_at"
    before = later - timedelta(days=3)
    actions.log_test(a_test(device, started_at=before, stopped_at=before + timedelta(hours=6)), by=BY)
    device.quarantines.update(lifted_at=began, lifted_why="looked into")
    actions.log_test(fresh, by=BY)


def test_the_low_alarm_is_the_last_such_time_before_the_stop(bench: Client) -> None:
    """In a run over midnight the alarm lies in the night in which it stopped."""
    sent(bench, a_fitted_device(), started_at="20:00", stopped_at="02:30", low_alarm_at="1.55")
    assert RuntimeTest.objects.get().low_alarm_at == datetime(2026, 3, 3, 1, 55, tzinfo=UTC)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"stopped_at": ""}, "Give the time it stopped, or the runtime."),
        ({"stopped_at": "13:36", "ran": "5:30"}, "Start and stop are 5 h 36 min apart, not 5 h 30 min."),
        ({"started_at": "25:00"}, "“25:00” is no time of day."),
        ({"ran": "5.6"}, "“5.6” is no runtime."),
        ({"stopped_at": "13:36", "stopped_on": "2026-03-01"}, "the stop must come after the start."),
        ({"rate": "0"}, "0 mL/h is no delivery rate."),
        ({"low_alarm_at": "7:00"}, "the low-battery alarm lies outside the run."),
        ({"charge_hours": ""}, "Hours on charge</a>: This field is required."),
    ],
)
def test_a_refusal_names_the_field_and_keeps_what_was_typed(bench: Client, changes: dict[str, str], said: str) -> None:
    """Nothing is written, the words say what would be right, and the temperature typed is still there."""
    page = sent(bench, a_fitted_device(), ambient_c="21,5", **changes)
    assert said in page
    assert 'name="ambient_c" value="21,5"' in page
    assert not RuntimeTest.objects.exists()


def test_a_comma_is_a_decimal_point(bench: Client) -> None:
    """Numbers may be typed as they are in most of Europe."""
    sent(bench, a_fitted_device(), ambient_c="21,5", charge_hours="10,25")
    test = RuntimeTest.objects.get()
    assert (test.ambient_c, test.charge_hours) == (Decimal("21.5"), Decimal("10.25"))


def test_a_driver_without_a_pack_is_told_before_typing(bench: Client) -> None:
    """The page leads to recording its pack first, and a test is refused."""
    device = a_device()
    assert "No pack is on record for this driver" in words(bench, f"/batteries/log/?device={device.asset_number}")
    assert "Record which pack is fitted" in sent(bench, device)


def test_a_quarantined_driver_is_not_to_be_run(bench: Client) -> None:
    """The form warns first, in red words: no work on a driver that is kept as it is."""
    device = a_fitted_device()
    Device.objects.filter(pk=device.pk).update(condition="out_of_use", quarantined=True)
    assert "Quarantine: no work on this driver" in words(bench, f"/batteries/log/?device={device.asset_number}")


def test_flags_stand_in_words(bench: Client) -> None:
    """A short charge, an unrated rate and an early stop are each told, and no verdict is made of them."""
    page = sent(bench, a_fitted_device(), charge_hours="6", rate="1", stop="by_hand")
    assert "Short charge: 6 h before the test" in page
    assert "1 mL/h lies outside the type's rated runtimes" in page.replace("&#x27;", "'")
    assert "Stopped early by hand" in page
    assert "does not tell whether it meets" in page


def test_the_forecast_moves_at_once(bench: Client) -> None:
    """A low test moves the expected crossing, and the page says from when to when."""
    device = a_history()[0]
    actions.refresh_forecasts(at=clock.now())
    before = device.forecasts.get().crossing_on
    page = sent(bench, device, started_on="2026-06-01", stopped_at="13:50")
    after = device.forecasts.get().crossing_on
    assert after != before
    assert "The expected crossing moved from" in page


def test_a_pack_that_falls_below_its_level_gets_no_day_to_come(bench: Client) -> None:
    """A crossing that lies behind is not told as one that is expected; a driver in service is to be tagged."""
    device = a_history()[0]
    actions.refresh_forecasts(at=clock.now())
    page = sent(bench, device, started_on="2026-06-01", stopped_at="11:00")
    assert "now counts as below its replacement level" in page
    assert "expected crossing" not in page
    assert f"/tags/report/{device.asset_number}/" in page


def test_a_test_belongs_to_the_open_battery_order(bench: Client) -> None:
    """Scanning the driver or naming the order both tie the test to it; a closed or foreign number does not open."""
    device = a_fitted_device()
    order = raise_order(device, OrderKind.BATTERY, by=BY)
    sent(bench, device)
    bench.post(f"/batteries/log/?order={order.number}", typed_run(started_on="2026-03-04"))
    assert [test.order for test in RuntimeTest.objects.all()] == [order, order]
    assert "No open order here has the number W9" in words(bench, "/batteries/log/?order=W9")


def test_a_wrong_test_is_voided_with_a_reason(bench: Client) -> None:
    """Without a reason nothing happens; with one the test stays, marked as void."""
    test = a_logged_test(a_fitted_device())
    assert "This field is required" in plain(bench.post(f"/batteries/tests/{test.pk}/", {"why": ""}).content)
    page = plain(bench.post(f"/batteries/tests/{test.pk}/", {"why": "other driver"}, follow=True).content)
    assert "Void: other driver" in page
    test.refresh_from_db()
    assert test.voided_by == "Tova Lindqvarn"


def test_a_test_of_a_swapped_pack_shows_that_pack(bench: Client) -> None:
    """The test's page speaks of the pack it was made on, which has no forecast any more."""
    device = a_fitted_device()
    test = a_logged_test(device)
    actions.remove(device, on=date(2026, 4, 1), why=Fitting.Why.WORN, by=BY, out_of_use=True)
    assert "Only a fitted pack has a forecast" in words(bench, f"/batteries/tests/{test.pk}/")


class TestDuties:
    """Who may log, who may only look, and who finds nothing."""

    def test_a_storekeeper_looks_and_does_not_log(self, storekeeper: Person) -> None:
        """A test may be read; logging and voiding need the duty."""
        test, client = a_logged_test(a_fitted_device()), signed_in(storekeeper)
        assert client.get(f"/batteries/tests/{test.pk}/").status_code == 200
        assert client.get("/batteries/log/").status_code == 403
        assert client.get("/batteries/rack/").status_code == 403
        assert client.post(f"/batteries/tests/{test.pk}/", {"why": "x"}).status_code == 403

    def test_an_outsider_finds_nothing(self, outsider: Person) -> None:
        """Another site's driver and test do not exist, whether read or written."""
        device = a_fitted_device()
        test, client = a_logged_test(device), signed_in(outsider)
        assert client.get(f"/batteries/tests/{test.pk}/").status_code == 404
        assert "No driver here" in words(client, f"/batteries/log/?device={device.asset_number}")
        assert "No driver here" in sent(client, device, started_on="2026-03-05")
        assert RuntimeTest.objects.count() == 1

    def test_a_nurse_has_no_business_here(self, ward_nurse: Person) -> None:
        """Ward staff get 403."""
        client = signed_in(ward_nurse)
        for address in ("", "log/", "rack/", "packs/", "tests/"):
            assert client.get(f"/batteries/{address}").status_code == 403

    def test_the_latest_tests_are_those_of_ones_places(self, manager: Person) -> None:
        """The list holds Mereford's tests and not Corran Vale's."""
        ours, theirs = a_fitted_device(), a_fitted_device(home=a_ward("Ward 1", a_site("Corran Vale")))
        a_logged_test(ours)
        a_logged_test(theirs)
        page = words(signed_in(manager), "/batteries/tests/")
        assert ours.asset_number in page
        assert theirs.asset_number not in page
