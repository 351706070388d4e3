"""What a night makes of the record: columns for the core, advice, and what a type's packs come to."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from fleet.batteries import actions
from fleet.batteries.actions.history import TypeHistory, type_history
from fleet.batteries.actions.outlooks import stored_fit
from fleet.batteries.models import Backtest, ChemistryLife, Fitting, Forecast, Pack, RiskLimit, RuntimeTest, TypeOutlook
from fleet.batteries.queries.policy import limit_for
from fleet.core.battery.bend.histories import OUTSIDE_TABLE, PLAIN, SHORT_CHARGE
from fleet.core.battery.decision import Advice
from fleet.core.due import add_months
from fleet.registry.actions import edit_device_type
from fleet.registry.models import Device, DeviceType
from fleet.schedules.models import Due, Plan
from fleet.web import clock
from tests.batteries.builders import START, a_fitted_device, a_history, a_logged_test, a_pack
from tests.builders import BY, a_device, a_type
from tests.schedules.builders import a_plan

pytestmark = pytest.mark.django_db


def history_of(device: Device) -> TypeHistory:
    """The history of a driver's type today."""
    return type_history(device.device_type, clock.today())


def night() -> None:
    """Forecast everything."""
    actions.refresh_forecasts(at=clock.now())


def a_limit(limit: str, **facts: object) -> RiskLimit:
    """A risk limit that stands."""
    usual = {"pool": "", "ward_kind": RiskLimit.WardKind.ANY, "why": "agreed", "set_by": "test", "set_at": clock.now()}
    return RiskLimit.objects.create(limit=Decimal(limit), **{**usual, **facts})


def with_visit(device: Device, on: date, *, months: int = 12) -> None:
    """Give a driver, and no other of its type, its next visit, of a plan of so many months."""
    plan = a_plan(device.device_type, months=months)
    Due.objects.filter(plan=plan).exclude(device=device).update(suspended=True)
    Due.objects.filter(plan=plan, device=device).update(due_on=on, opens_on=on, closes_on=on)


def a_faster_batch(code: str) -> None:
    """Eight packs of one date code that fade three times as fast as those of `a_history`, tested once."""
    for row in range(8):
        device = a_fitted_device(date(2024, 9, 1))
        Pack.objects.filter(fittings__device=device).update(date_code=code)
        start = datetime(2026, 9, 1 + row, 8, 0, tzinfo=UTC)
        a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=7 * (0.75 + 0.002 * row)))


class TestHistory:
    """Rows become columns."""

    def test_a_short_charge_and_a_rate_outside_the_table_are_kinds_of_their_own(self) -> None:
        """Each test keeps its kind, what its charge was short of, and whether it is a bound."""
        device = a_fitted_device()
        a_logged_test(device)
        later = {"started_at": START + timedelta(days=30), "stopped_at": START + timedelta(days=30, hours=5)}
        a_logged_test(device, charge_hours=Decimal("7.5"), **later)
        last = {"started_at": START + timedelta(days=60), "stopped_at": START + timedelta(days=60, hours=5)}
        a_logged_test(device, rate=Decimal(1), stop=RuntimeTest.Stop.BY_HAND, **last)
        columns = history_of(device).columns
        assert columns.kind.tolist() == [PLAIN, SHORT_CHARGE, OUTSIDE_TABLE]
        assert columns.shortfall.tolist() == [0.0, 0.25, 0.0]
        assert columns.bound.tolist() == [False, False, True]

    def test_a_warm_test_counts_for_less_in_the_forecast_and_for_all_in_its_verdict(self) -> None:
        """With a coefficient of its type a test at 30 °C is brought to 20 °C; as measured it stays beside that."""
        device = a_fitted_device()
        edit_device_type(device.device_type, {"temperature_coefficient": Decimal("0.006")}, by=BY)
        a_logged_test(device, ambient_c=Decimal(30))
        history = type_history(DeviceType.objects.get(pk=device.device_type_id), clock.today())
        assert history.columns.fraction[0] == pytest.approx(0.8 / 1.06)
        assert history.measured[0] == pytest.approx(0.8)

    def test_a_temperature_that_no_correction_reaches_leaves_the_test_as_measured(self) -> None:
        """-5 °C typed for 25 °C, with the highest coefficient there is, must not stop the night of every type."""
        device = a_fitted_device()
        edit_device_type(device.device_type, {"temperature_coefficient": Decimal("0.05")}, by=BY)
        a_logged_test(device, ambient_c=Decimal(-5))
        night()
        history = type_history(DeviceType.objects.get(pk=device.device_type_id), clock.today())
        assert history.columns.fraction[0] == pytest.approx(0.8)

    def test_a_pack_written_down_in_mid_life_came_in_then(self) -> None:
        """A fitting of 2024 written down today came in at its first test; one written down at once came in new."""
        late = a_fitted_device(date(2024, 3, 1))
        a_logged_test(late)
        with clock.at(datetime(2025, 1, 2, 9, 0, tzinfo=UTC)):
            new = a_fitted_device(date(2025, 1, 1))
        untested = a_fitted_device(date(2025, 6, 1))
        history = history_of(late)
        entry = {fitted.device_id: history.packs.entry_age[fitted.row] for fitted in history.fitted}
        assert entry[late.pk] == pytest.approx((START.date() - date(2024, 3, 1)).days / 365.25)
        assert entry[new.pk] == 0.0
        assert entry[untested.pk] == pytest.approx((clock.today() - date(2025, 6, 1)).days / 365.25)

    def test_a_pack_fitted_nobody_knows_when_is_as_old_as_it_was_made_or_tested(self) -> None:
        """With only the latest possible day of its fitting it would count as new; a known day stands as it is."""
        made, on = date(2022, 5, 4), date(2026, 11, 2)
        devices = [a_device() for _ in range(4)]
        packs = [a_pack(made_on=each) for each in (made, None, None, made)]
        known = (False, False, False, True)
        for device, pack, day_known in zip(devices, packs, known, strict=True):
            actions.fit(pack, device, on=on, by=BY, known=day_known)
        a_logged_test(devices[1], pack=packs[1])
        history = history_of(devices[0])
        first = [history.first_fitted[history.row_of[pack.pk]] for pack in packs]
        assert first == [made, START.date(), on, on]
        assert history.ageless == {history.row_of[packs[2].pk]}
        assert history.packs.entry_age[history.row_of[packs[0].pk]] == pytest.approx(
            (clock.today() - made).days / 365.25
        )

    def test_packs_taken_out_as_worn_are_marked(self) -> None:
        """Worn ones tell at which level packs go; those that went for their age don't."""
        worn, aged = a_fitted_device(), a_fitted_device()
        actions.remove(worn, on=clock.today(), why=Fitting.Why.WORN, by=BY, out_of_use=True)
        actions.remove(aged, on=clock.today(), why=Fitting.Why.AGE, by=BY, out_of_use=True)
        history = history_of(worn)
        packs = [device.fittings.get().pack_id for device in (worn, aged)]
        assert [bool(history.packs.removed[history.row_of[pack]]) for pack in packs] == [True, False]

    def test_cycles_a_year_are_told_against_the_usual_of_the_type(self) -> None:
        """Twice the usual cycles a year are log 2, the usual ones 0, none counted 0."""
        devices = [a_fitted_device(date(2025, 1, 1)) for _ in range(4)]
        for device, cycles in zip(devices, (100, 100, 200), strict=False):
            actions.count_cycles(device.fittings.get().pack, cycles, on=date(2026, 1, 1), by=BY)
        history = history_of(devices[0])
        use = {fitted.device_id: history.packs.use[fitted.row] for fitted in history.fitted}
        assert [use[device.pk] for device in devices] == pytest.approx([0.0, 0.0, np.log(2), 0.0])

    def test_the_visit_after_the_next_is_one_interval_of_its_plan_later(self) -> None:
        """A visit of March 2027 of a plan of 18 months is followed by one in September 2028; no due, no visit."""
        device, other = a_fitted_device(), a_fitted_device()
        with_visit(device, date(2027, 3, 14), months=18)
        visits = {fitted.device_id: (fitted.visit, fitted.following) for fitted in history_of(device).fitted}
        assert visits[device.pk] == (date(2027, 3, 14), date(2028, 9, 14))
        assert visits[other.pk] == (None, None)

    def test_a_library_update_is_no_visit_at_which_a_pack_is_replaced(self) -> None:
        """Only a service or a battery test has the driver in a technician's hands."""
        device = a_fitted_device()
        with_visit(device, date(2027, 3, 14), months=18)
        Plan.objects.update(kind=Plan.Kind.BATTERY)
        assert history_of(device).fitted[0].visit == date(2027, 3, 14)
        Plan.objects.update(kind=Plan.Kind.LIBRARY)
        assert history_of(device).fitted[0].visit is None

    def test_a_late_visit_is_followed_one_interval_from_today(self) -> None:
        """What is late is taken as made today."""
        device = a_fitted_device()
        with_visit(device, clock.today() - timedelta(days=90), months=12)
        (fitted,) = history_of(device).fitted
        assert fitted.following == add_months(clock.today(), 12)


class TestForecastRows:
    """What is written of each pack."""

    def test_a_type_with_a_stated_life_is_forecast_from_it(self) -> None:
        """With no test of it or its like, a life stated for the chemistry gives numbers, marked as assumed."""
        device = a_fitted_device(date(2025, 11, 1))
        night()
        assert Forecast.objects.get().basis == Forecast.Basis.NOT_ENOUGH
        ChemistryLife.objects.create(chemistry="NiMH", life_years=Decimal(4), source="maker's letter of 2025")
        with_visit(device, date(2027, 3, 14))
        night()
        row = Forecast.objects.get()
        assert (row.basis, row.advice) == (Forecast.Basis.ASSUMED, Advice.TEST_NOW.value)
        assert row.crossing_early < row.crossing_on < row.crossing_late
        assert "maker's letter of 2025" in TypeOutlook.objects.get().prior_source

    def test_a_type_without_tests_borrows_from_one_of_its_chemistry(self) -> None:
        """Another type's tests give it numbers, marked as borrowed."""
        a_history()
        device = a_fitted_device(date(2024, 11, 1), device_type=a_type("Sable"))
        night()
        row = Forecast.objects.get(device=device)
        assert row.basis == Forecast.Basis.BORROWED
        assert row.crossing_early < row.crossing_late
        outlook = TypeOutlook.objects.get(device_type=device.device_type)
        assert (outlook.basis, outlook.prior_source) == (Forecast.Basis.BORROWED, "other types of NiMH")

    def test_a_pack_under_its_level_by_its_latest_test_is_replaced_now_whatever_else_is_known(self) -> None:
        """Also in a type of which too little is known for numbers."""
        device = a_fitted_device()
        a_logged_test(device, stopped_at=START + timedelta(hours=5))
        night()
        row = Forecast.objects.get()
        assert (row.basis, row.already_below) == (Forecast.Basis.NOT_ENOUGH, True)
        assert row.advice == Advice.REPLACE_NOW.value

    def test_the_limit_in_force_makes_the_advice(self) -> None:
        """A pack that may cross before its second visit stays in under a wide limit and goes under a narrow one."""
        device = a_history()[0]
        with_visit(device, clock.today() + timedelta(days=10), months=2)
        a_limit("0.5")
        night()
        wide = Forecast.objects.get(device=device)
        RiskLimit.objects.update(dropped_at=clock.now())
        a_limit("0.005")
        night()
        narrow = Forecast.objects.get(device=device)
        assert narrow.limit == 0.005 < wide.chance_before_following < wide.limit == 0.5
        assert wide.advice not in {Advice.REPLACE_AT_VISIT.value, Advice.CALL_IN.value}
        assert narrow.advice in {Advice.REPLACE_AT_VISIT.value, Advice.CALL_IN.value}
        assert not narrow.limit_by_cost

    def test_what_a_test_would_settle_stands_beside_the_advice(self) -> None:
        """A fraction that clears the pack, its chance, and what that saves; without a visit nothing."""
        device, other = a_history()[:2]
        with_visit(device, clock.today() + timedelta(days=10), months=2)
        night()
        row = Forecast.objects.get(device=device)
        assert 0.7 < row.test_clears_at < 1.1
        assert 0 <= row.test_clears_chance <= 1
        assert 0 <= row.test_worth <= 1
        assert Forecast.objects.get(device=other).test_worth is None

    def test_a_test_that_jumps_up_is_named(self) -> None:
        """A run far above the earlier ones is listed by its id, in the jumps and in the doubtful."""
        device = a_history()[0]
        start = datetime(2026, 10, 1, 8, 0, tzinfo=UTC)
        odd = a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=8.4))
        night()
        row = Forecast.objects.get(device=device)
        assert (row.jumps, row.has_jump) == ([odd.pk], True)
        assert (row.doubtful, row.has_set_aside) == ([odd.pk], True)

    def test_the_plot_never_rises(self) -> None:
        """The 10, 50 and 90 % lines begin today, keep their order and fall."""
        device = a_history()[0]
        night()
        curve = Forecast.objects.get(device=device).curve
        assert curve[0][0] == clock.today().isoformat()
        fan = np.array([row[1:] for row in curve])
        assert (np.diff(fan, axis=0) <= 0).all()
        assert (np.diff(fan, axis=1) >= 0).all()

    def test_the_correction_of_the_latest_backtest_is_applied(self) -> None:
        """Chances move by it, and the uncorrected one stays."""
        device = a_history()[0]
        with_visit(device, clock.today() + timedelta(days=400))
        Backtest.objects.create(
            device_type=device.device_type, made_at=clock.now(), correction_a=0.5, correction_b=1.5, correction_ranks=30
        )
        night()
        row = Forecast.objects.get(device=device)
        assert row.chance_before_visit > row.chance_uncorrected
        assert TypeOutlook.objects.get().correction_ranks == 30

    def test_a_drivers_own_level_counts(self) -> None:
        """A driver with a level of 0.7 is forecast to cross later than its like at 0.8."""
        device, like = a_history()[:2]
        Device.objects.filter(pk=device.pk).update(own_replacement_level=Decimal("0.700"))
        night()
        row, other = (Forecast.objects.get(device=each) for each in (device, like))
        assert (row.level, other.level) == (Decimal("0.700"), Decimal("0.800"))
        assert row.crossing_on > other.crossing_on + timedelta(days=300)


class TestTypeRows:
    """What is written of each type."""

    def test_the_demand_has_its_months_and_rises(self) -> None:
        """24 months from this one on; totals rise with the months and with the chance that they are enough."""
        a_history()
        night()
        outlook = TypeOutlook.objects.get()
        demand = outlook.demand
        first = clock.today().replace(day=1)
        assert (demand["months"][0], demand["months"][-1]) == (f"{first:%Y-%m}", f"{add_months(first, 23):%Y-%m}")
        assert {len(demand[name]) for name in ("expected", "low", "middle", "high", "total_expected")} == {24}
        totals = np.array([demand["total_low"], *demand["total"].values()])
        assert (np.diff(totals, axis=0) >= 0).all()
        assert (np.diff(totals, axis=1) >= 0).all()
        assert 0 < demand["total_expected"][-1] <= 24
        assert outlook.new_life_low < outlook.new_life_middle < outlook.new_life_high
        assert 0 < outlook.fade_first_year < 0.1

    def test_a_pack_under_its_level_by_its_test_is_needed_now(self) -> None:
        """It counts in full from the first month on."""
        device = a_history()[0]
        start = datetime(2026, 10, 1, 8, 0, tzinfo=UTC)
        night()
        before = TypeOutlook.objects.get().demand["total_expected"][0]
        a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=5.5))
        night()
        assert TypeOutlook.objects.get().demand["total_expected"][0] >= before + 0.5

    def test_a_wider_limit_needs_fewer_packs_and_risks_more(self) -> None:
        """For each interval of visits the packs fall and those under the level rise with the limit."""
        a_history()
        night()
        rows = TypeOutlook.objects.get().what_if
        assert len(rows) == 20
        for months in (6, 12, 18, 24):
            some = sorted((row for row in rows if row["interval_months"] == months), key=lambda row: row["limit"])
            assert (np.diff([row["packs_next_year"] for row in some]) <= 0.011).all()
            assert (np.diff([row["under_level_next_year"] for row in some]) >= -0.011).all()

    def test_a_type_of_which_nothing_is_known_has_no_demand(self) -> None:
        """No number is invented: the row says that there is not enough data."""
        a_fitted_device()
        night()
        outlook = TypeOutlook.objects.get()
        assert (outlook.basis, outlook.demand, outlook.what_if, outlook.numbers) == ("none", {}, [], [])
        assert stored_fit(outlook) is None

    def test_a_batch_that_fades_faster_raises_the_alarms(self) -> None:
        """The drift of recent tests and the packs' date code are named."""
        device = a_history(packs=20)[0]
        a_faster_batch("2432")
        night()
        alarms = TypeOutlook.objects.get(device_type=device.device_type).alarms
        kinds = {(row["kind"], row["label"]) for row in alarms}
        assert {("drift", ""), ("batch", "2432")} <= kinds
        assert all(row["tests"] >= 5 and row["words"].endswith(".") for row in alarms)

    def test_a_sound_type_raises_none(self) -> None:
        """Where tests come out as expected nobody is named."""
        a_history(packs=20)
        night()
        assert TypeOutlook.objects.get().alarms == []


class TestWhileSomebodyWaits:
    """A test was logged and the technician looks at the page."""

    def test_the_forecast_moves_at_once_and_the_type_waits_for_the_night(self) -> None:
        """The pack's row is made anew by last night's numbers; the row of the type is that of the night."""
        device = a_history()[0]
        night()
        before, of_type = Forecast.objects.get(device=device), TypeOutlook.objects.values().get()
        start = datetime(2026, 10, 1, 8, 0, tzinfo=UTC)
        a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=5.72))
        assert actions.refresh_if_quick(device.device_type)
        after = Forecast.objects.get(device=device)
        assert (before.tests_used, after.tests_used) == (3, 4)
        assert after.fraction_today != before.fraction_today
        assert TypeOutlook.objects.values().get() == of_type

    def test_without_a_new_test_nothing_moves(self) -> None:
        """The numbers kept from the night give the same forecast again."""
        device = a_history()[0]
        night()
        before = Forecast.objects.get(device=device)
        actions.refresh_if_quick(device.device_type)
        after = Forecast.objects.get(device=device)
        assert after.fraction_today == pytest.approx(before.fraction_today, abs=1e-5)
        assert after.crossing_on - before.crossing_on <= timedelta(days=1)

    def test_before_the_first_night_the_type_is_forecast_as_at_night(self) -> None:
        """Nothing is kept yet, so all is worked out."""
        device = a_history()[0]
        assert actions.refresh_if_quick(device.device_type)
        assert TypeOutlook.objects.exists()


def test_the_limit_of_a_driver_is_that_of_the_narrowest_row() -> None:
    """Pool and kind of ward before the pool, before the wards, before any; without a row one in ten is assumed."""
    device = a_fitted_device()
    assert (limit_for(device).limit, limit_for(device).why) == (0.10, "assumed until somebody sets one")
    a_limit("0.2")
    assert limit_for(device).limit == 0.2
    a_limit("0.3", ward_kind=RiskLimit.WardKind.OTHER)
    assert limit_for(device).limit == 0.3
    a_limit("0.05", pool=device.pool)
    assert limit_for(device).limit == 0.05


def test_prices_make_a_limit_that_the_row_caps() -> None:
    """With the price of a failure and of a pack the break-even holds, and never more than the row allows."""
    device = a_history()[0]
    pack = device.fittings.get().pack
    type(pack).objects.update(price=Decimal(60))
    night()
    row = a_limit("0.2", failure_price=Decimal(2000))
    found = limit_for(device)
    assert found.by_cost
    assert 0 < found.limit < 0.05
    RiskLimit.objects.filter(pk=row.pk).update(failure_price=Decimal(1))
    capped = limit_for(device)
    assert (capped.limit, capped.by_cost) == (0.2, False)
