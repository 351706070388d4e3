"""What a night says where too little is known: of a pack's age, of old packs, of its type; or where a type fails."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from fleet.batteries import actions
from fleet.batteries.actions.rows import NO_AGE
from fleet.batteries.models import ChemistryLife, Fitting, Forecast, RuntimeTest, TypeOutlook
from fleet.batteries.queries.alarms import alarms
from fleet.core.battery.decision import Advice
from fleet.core.errors import BenchwardError
from fleet.registry.models import Device
from fleet.schedules.models import Due
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_history, a_logged_test, a_pack
from tests.batteries.test_night import a_limit, night, with_visit
from tests.builders import BY, a_device, a_type

pytestmark = pytest.mark.django_db


def an_ageless_device(share: float) -> Device:
    """A driver with a pack fitted nobody knows when, with one test since, of that share of its rating."""
    device, pack = a_device(), a_pack()
    actions.fit(pack, device, on=date(2025, 3, 1), by=BY, known=False)
    start = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=7 * share))
    return device


def a_flat_history() -> list[Device]:
    """Twelve drivers whose packs carry their rating in each of three tests, the last at 1.6 years."""
    devices = [a_fitted_device(date(2025, 4, 1)) for _ in range(12)]
    for row, device in enumerate(devices):
        for number, day in enumerate((date(2025, 9, 1), date(2026, 4, 1), date(2026, 11, 6))):
            start = datetime(day.year, day.month, day.day, 8, row, tzinfo=UTC)
            wobble = 0.004 * ((row * 7 + number * 3) % 5 - 2)
            a_logged_test(device, started_at=start, stopped_at=start + timedelta(minutes=round(420 * (1 + wobble))))
    return devices


class TestAnAgeNobodyKnows:
    """A pack fitted nobody knows when, without the day it was made or an earlier test."""

    def test_a_pack_of_an_age_nobody_knows_has_no_number_and_moves_no_other(self) -> None:
        """It and its tests stay out of the type's fit; it is tested, or replaced if its own latest test says so."""
        device = a_history()[0]
        night()
        before = Forecast.objects.get(device=device)
        good, bad = (an_ageless_device(share) for share in (0.95, 0.6))
        night()
        rows = [Forecast.objects.get(device=each) for each in (good, bad)]
        assert [(row.basis, row.advice) for row in rows] == [("none", "test"), ("none", "replace")]
        assert {row.why_not for row in rows} == {NO_AGE}
        assert Forecast.objects.get(device=device).fraction_today == before.fraction_today
        assert TypeOutlook.objects.get().tests_used == 36

    def test_a_pack_of_an_age_nobody_knows_is_needed_like_the_mean_of_the_others(self) -> None:
        """One more than twelve raises what is expected by a twelfth; one that is below, by one pack at once."""
        a_history()
        night()
        before = TypeOutlook.objects.get()
        an_ageless_device(0.95)
        night()
        after = TypeOutlook.objects.get()
        more = np.array(after.demand["total_expected"]) / np.array(before.demand["total_expected"])
        assert more[-6:] == pytest.approx(13 / 12, abs=0.02)
        needed = [sum(row["packs_next_year"] for row in each.what_if) for each in (before, after)]
        assert needed[1] == pytest.approx(needed[0] * 13 / 12, rel=0.01)
        an_ageless_device(0.6)
        night()
        assert TypeOutlook.objects.get().demand["total_expected"][0] >= after.demand["total_expected"][0] + 0.9

    def test_where_nobody_knows_any_age_no_demand_is_invented(self) -> None:
        """There is no mix of ages to take."""
        ChemistryLife.objects.create(chemistry="NiMH", life_years=Decimal(4), source="maker's letter of 2025")
        an_ageless_device(0.95)
        night()
        outlook = TypeOutlook.objects.get()
        assert (outlook.basis, outlook.demand, outlook.what_if) == (Forecast.Basis.ASSUMED, {}, [])

    def test_a_backtest_takes_no_pack_of_an_age_nobody_knows(self) -> None:
        """Its crossing would count as one of a young pack."""
        a_history()
        for share in (0.95, 0.6):
            an_ageless_device(share)
        (row, _) = actions.run_backtests(at=clock.now())
        assert row.packs == 12


class TestLittleIsMeasured:
    """Of old packs, or of the type."""

    def test_a_young_flat_fleet_is_promised_no_day_that_nobody_has_seen(self) -> None:
        """Tests at 1.00 up to 1.6 years say nothing beyond 4.8: no day, no skipped test; the chance before is kept."""
        devices = a_flat_history()
        a_limit("0.5", may_skip_tests=True, longest_untested_months=120)
        with_visit(devices[0], clock.today() + timedelta(days=100))
        late = clock.today() + timedelta(days=1400)
        Due.objects.filter(device=devices[1]).update(suspended=False, due_on=late, opens_on=late, closes_on=late)
        night()
        near, far = (Forecast.objects.get(device=each) for each in devices[:2])
        assert near.basis == Forecast.Basis.OWN_TESTS
        assert (near.crossing_on, near.crossing_late) == (None, None)
        assert near.why_not.startswith("Nobody has tested a pack of this type older than 1.6 years: no day is given")
        assert near.why_not.endswith("beyond 4.8 years of age.")
        assert near.chance_before_visit is not None
        assert near.advice == Advice.SKIP_TEST.value
        assert (far.chance_before_following, far.test_worth, far.advice) == (None, None, Advice.TEST_NOW.value)
        assert near.curve[-1][0] < far.next_visit.isoformat()
        assert TypeOutlook.objects.get().new_life_middle is None
        actions.refresh_if_quick(devices[0].device_type)
        assert Forecast.objects.get(device=devices[0]).why_not == near.why_not

    @pytest.mark.parametrize("life", [None, 4])
    def test_a_chance_over_the_limit_calls_in_though_little_is_measured(self, life: int | None) -> None:
        """A pack's own test just above the level is heard where its type has no other; an untested one is tested."""
        if life:
            ChemistryLife.objects.create(chemistry="NiMH", life_years=Decimal(life), source="maker's letter of 2025")
        low, untested = (a_fitted_device(date(2025, 11, 1)) for _ in range(2))
        start = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)
        a_logged_test(low, started_at=start, stopped_at=start + timedelta(hours=7 * 0.805))
        with_visit(low, date(2027, 5, 14))
        night()
        rows = [Forecast.objects.get(device=each) for each in (low, untested)]
        assert rows[0].basis in ({Forecast.Basis.ASSUMED} if life else {Forecast.Basis.NOT_ENOUGH})
        assert [row.advice for row in rows] == [Advice.CALL_IN.value, Advice.TEST_NOW.value]

    def test_a_type_of_which_most_tests_are_set_aside_may_have_wrong_rated_runtimes(self) -> None:
        """Twice as long as the table says, in every driver, is no wrong test each time."""
        device = a_history(packs=6)[0]
        RuntimeTest.objects.filter(started_at__year__gte=2025).update(fraction=2.2)
        night()
        (alarm,) = (row for row in TypeOutlook.objects.get().alarms if row["kind"] == "rated")
        assert alarm["words"].startswith("6 of the 6 full tests of the last two years")
        assert alarms(TypeOutlook.objects.get(device_type=device.device_type))[0].heading.startswith(
            "The rated runtimes"
        )


class TestATypeThatFails:
    """One type's record is not to be computed with."""

    def test_the_others_are_forecast_and_it_is_named_at_the_end(self) -> None:
        """Its forecasts stay as they were, and the job fails with its name and the reason."""
        broken, sound = a_history()[0], a_fitted_device(date(2024, 11, 1), device_type=a_type("Sable"))
        night()
        before = Forecast.objects.get(device=broken)
        Fitting.objects.filter(device=broken).update(fitted_on=date(9998, 1, 1))
        later = clock.now() + timedelta(hours=1)
        with pytest.raises(BenchwardError, match=r"left as before: .*: OverflowError: date value out of range"):
            actions.refresh_forecasts(at=later)
        assert Forecast.objects.get(device=sound).made_at == later
        assert Forecast.objects.get(device=broken).made_at == before.made_at
        assert TypeOutlook.objects.get(device_type=broken.device_type).made_at == before.made_at

    def test_whoever_logs_a_test_meanwhile_has_logged_it(self) -> None:
        """A forecast that cannot be made while somebody waits is left to the night, and no error page comes of it."""
        broken = a_history()[0]
        night()
        before = Forecast.objects.get(device=broken).made_at
        Fitting.objects.filter(device=broken).update(fitted_on=date(9998, 1, 1))
        assert not actions.refresh_if_quick(broken.device_type)
        assert Forecast.objects.get(device=broken).made_at == before
