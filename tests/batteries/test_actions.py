"""Packs and runtime tests: what is kept, what is refused, and what a test is worth."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from fleet.audit.models import TrailEntry
from fleet.batteries import actions
from fleet.batteries.models import Fitting, Forecast, RuntimeTest
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.web import clock
from tests.batteries.builders import START, a_fitted_device, a_history, a_pack, a_test
from tests.builders import BY, a_device, a_type

pytestmark = pytest.mark.django_db


def test_a_test_is_worth_measured_over_rated() -> None:
    """5.6 h at 5 mL/h of a type rated 7 h is a fraction of 0.80, with no flag."""
    test = actions.log_test(a_test(a_fitted_device()), by=BY)
    assert (test.fraction, test.rated_hours) == (pytest.approx(0.8, abs=1e-12), Decimal("7.0"))
    assert (test.outside_table, test.short_charge) == (False, False)


def test_times_are_told_at_the_hospital() -> None:
    """The server counts in UTC; a refusal and a test's name say the hospital's day and hour."""
    device = a_fitted_device()
    late = {"started_at": START.replace(hour=22), "stopped_at": START.replace(hour=22) + timedelta(hours=5)}
    test = actions.log_test(a_test(device, **late), by=BY)
    with timezone.override("Asia/Tokyo"):
        assert str(test).endswith("03 Mar 2026")
        with pytest.raises(BadValueError, match=r"3.Mar.2026.07:00"):
            actions.log_test(a_test(device, **late), by=BY)


def test_flags_are_kept_with_the_test() -> None:
    """A rate outside the type's table and a charge under its charging hours are flagged, and the test is kept."""
    test = actions.log_test(a_test(a_fitted_device(), rate=Decimal(1), charge_hours=Decimal("9.5")), by=BY)
    assert (test.outside_table, test.short_charge) == (True, True)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"stopped_at": START}, "stop must come after the start"),
        ({"stopped_at": START + timedelta(days=30)}, "Check the dates"),
        ({"low_alarm_at": START - timedelta(minutes=1)}, "alarm lies outside the run"),
        ({"rate": Decimal(2000)}, "no delivery rate"),
        ({"syringe_ml": Decimal(100)}, "no syringe size"),
        ({"charge_hours": Decimal(-1)}, "hours on charge"),
        ({"ambient_c": Decimal(90)}, "no room temperature"),
    ],
)
def test_what_cannot_be_is_refused(facts: dict[str, Any], words: str) -> None:
    """A test whose values can't be true is refused with the reason, and nothing is written."""
    with pytest.raises(BadValueError, match=words):
        actions.log_test(a_test(a_fitted_device(), **facts), by=BY)
    assert not RuntimeTest.objects.exists()


def test_a_test_from_the_future_is_refused() -> None:
    """A test that stops after now is a wrong date."""
    start = clock.now()
    with pytest.raises(BadValueError, match="still to come"):
        actions.log_test(a_test(a_fitted_device(), started_at=start, stopped_at=start + timedelta(hours=5)), by=BY)


def test_a_rack_is_logged_together_or_not_at_all() -> None:
    """One wrong driver in a rack of three leaves nothing written, and the message names it."""
    devices = [a_fitted_device() for _ in range(3)]
    rack = [a_test(device) for device in devices]
    rack[1] = a_test(devices[1], stopped_at=START)
    with pytest.raises(BadValueError, match=devices[1].asset_number):
        actions.log_tests(rack, by=BY)
    assert not RuntimeTest.objects.exists()


def test_the_same_test_twice_is_refused() -> None:
    """A test of the same pack with the same start is on record already."""
    device = a_fitted_device()
    actions.log_test(a_test(device), by=BY)
    with pytest.raises(BadValueError, match="there already"):
        actions.log_test(a_test(device), by=BY)


def test_a_voided_test_stays_and_makes_room() -> None:
    """A wrong test is voided with a reason, kept, and the right one may then be logged for the same start."""
    device = a_fitted_device()
    wrong = actions.log_test(a_test(device), by=BY)
    with pytest.raises(BadValueError, match="what is wrong"):
        actions.void_test(wrong, why=" ", by=BY)
    actions.void_test(wrong, why="read the clock of another driver", by=BY)
    actions.log_test(a_test(device, stopped_at=START + timedelta(hours=6)), by=BY)
    assert RuntimeTest.objects.count() == 2


def test_a_nurse_logs_no_test(ward_nurse: Person) -> None:
    """Logging a test needs the bench's duty."""
    with pytest.raises(NotAllowedError):
        actions.log_test(a_test(a_fitted_device()), by=actor_for(ward_nurse))


def test_a_test_belongs_to_the_pack_of_its_day() -> None:
    """After a swap, a test from before it is still the old pack's."""
    device = a_fitted_device()
    old = device.fittings.get().pack
    actions.remove(device, on=date(2026, 4, 1), why=Fitting.Why.WORN, by=BY, out_of_use=True)
    new = a_pack()
    actions.fit(new, device, on=date(2026, 4, 1), by=BY)
    before = actions.log_test(a_test(device), by=BY)
    after = actions.log_test(
        a_test(device, started_at=START + timedelta(days=90), stopped_at=START + timedelta(days=90, hours=7)), by=BY
    )
    assert (before.pack, after.pack) == (old, new)


def test_a_driver_holds_one_pack_and_a_pack_one_driver() -> None:
    """A second pack in a driver, and a pack in two drivers, are refused in words and by the database."""
    device, other = a_fitted_device(), a_device()
    pack = device.fittings.get().pack
    with pytest.raises(BadValueError, match="holds pack"):
        actions.fit(a_pack(), device, on=date(2026, 1, 1), by=BY)
    with pytest.raises(BadValueError, match="is fitted to"):
        actions.fit(pack, other, on=date(2026, 1, 1), by=BY)
    with pytest.raises(IntegrityError), transaction.atomic():
        Fitting.objects.create(pack=pack, device=other, fitted_on=date(2026, 1, 1))


def test_a_pack_of_another_type_does_not_fit() -> None:
    """A pack goes into drivers of its own type."""
    with pytest.raises(BadValueError, match="is for"):
        actions.fit(a_pack(), a_device(device_type=a_type("Sable")), on=date(2026, 1, 1), by=BY)


def test_a_stay_is_closed_and_never_overwritten() -> None:
    """A pack that moved keeps both stays, with the reason of the move."""
    device, other = a_fitted_device(), a_device()
    pack = device.fittings.get().pack
    actions.remove(device, on=date(2026, 1, 1), why=Fitting.Why.MOVED, by=BY, note="to the loan pool", out_of_use=True)
    actions.fit(pack, other, on=date(2026, 1, 2), by=BY)
    stays = [(stay.device, stay.removed_why) for stay in pack.fittings.order_by("fitted_on")]
    assert stays == [(device, "moved"), (other, "")]


def test_a_scrapped_pack_stays_scrapped() -> None:
    """A pack is scrapped with a reason once it is out of the driver, and is never fitted again."""
    device = a_fitted_device()
    pack = device.fittings.get().pack
    with pytest.raises(BadValueError, match="Remove it first"):
        actions.scrap(pack, on=date(2026, 1, 1), why="swollen", by=BY)
    actions.remove(device, on=date(2026, 1, 1), why=Fitting.Why.FAULT, by=BY, out_of_use=True)
    actions.scrap(pack, on=date(2026, 1, 1), why="swollen", by=BY)
    with pytest.raises(BadValueError, match="was scrapped"):
        actions.fit(pack, device, on=date(2026, 1, 2), by=BY)


def test_cycle_counts_never_fall() -> None:
    """A count below an earlier one is refused with both; the same count on the same day counts once."""
    pack = a_pack()
    actions.count_cycles(pack, 100, on=date(2026, 1, 1), by=BY)
    actions.count_cycles(pack, 100, on=date(2026, 1, 1), by=BY)
    with pytest.raises(BadValueError, match=r"100 cycles .* 90 on"):
        actions.count_cycles(pack, 90, on=date(2026, 2, 1), by=BY)
    assert pack.cycle_counts.count() == 1


def test_acts_on_packs_leave_a_trail_on_the_device() -> None:
    """Fitting and testing stand in the driver's own history."""
    device = a_fitted_device()
    actions.log_test(a_test(device), by=BY)
    verbs = set(TrailEntry.objects.filter(device_ref=device.pk).values_list("verb", flat=True))
    assert {"fitted pack", "logged runtime test"} <= verbs


class TestForecasts:
    """The nightly forecast on real rows."""

    def test_every_fitted_pack_has_one(self) -> None:
        """Tested packs rest on their own tests, an untested one on its type and says so."""
        devices = [*a_history(), a_fitted_device(date(2024, 1, 1))]
        actions.refresh_forecasts(at=clock.now())
        rows = [Forecast.objects.get(device=device) for device in devices]
        assert {row.basis for row in rows[:-1]} == {Forecast.Basis.OWN_TESTS}
        assert rows[-1].basis == Forecast.Basis.TYPE_ONLY
        assert all(row.crossing_early <= row.crossing_on <= row.crossing_late for row in rows if row.crossing_late)

    def test_too_little_data_gives_no_number(self) -> None:
        """A type with two tested packs says that there is not enough data, and why."""
        a_history(packs=2)
        actions.refresh_forecasts(at=clock.now())
        row = Forecast.objects.first()
        assert row is not None
        assert (row.basis, row.fraction_today, row.crossing_on) == (Forecast.Basis.NOT_ENOUGH, None, None)
        assert "needed" in row.why_not

    def test_running_twice_changes_nothing(self) -> None:
        """A second run on the same night gives the same rows."""
        a_history()
        at = clock.now()
        actions.refresh_forecasts(at=at)
        first = list(Forecast.objects.order_by("pack").values())
        actions.refresh_forecasts(at=at)
        assert list(Forecast.objects.order_by("pack").values()) == first

    def test_a_voided_test_counts_for_nothing(self) -> None:
        """A wrong low test moves the forecast; voided, it is as if it had never been."""
        device = a_history()[0]
        at = clock.now()
        actions.refresh_forecasts(at=at)
        before = Forecast.objects.get(device=device).fraction_today
        start = datetime(2026, 2, 1, 8, 0, tzinfo=UTC)
        wrong = actions.log_test(a_test(device, started_at=start, stopped_at=start + timedelta(hours=5.95)), by=BY)
        actions.refresh_forecasts(at=at)
        assert Forecast.objects.get(device=device).fraction_today < before - 0.002
        actions.void_test(wrong, why="wrong driver", by=BY)
        actions.refresh_forecasts(at=at)
        assert Forecast.objects.get(device=device).fraction_today == pytest.approx(before, abs=1e-9)

    def test_a_pack_that_was_taken_out_has_none(self) -> None:
        """A forecast goes with the pack; its tests stay in the fit of the type."""
        device = a_history()[0]
        actions.refresh_forecasts(at=clock.now())
        actions.remove(device, on=clock.today(), why=Fitting.Why.AGE, by=BY, out_of_use=True)
        actions.refresh_forecasts(at=clock.now())
        assert not Forecast.objects.filter(device=device).exists()
        assert RuntimeTest.objects.filter(device=device).count() == 3
