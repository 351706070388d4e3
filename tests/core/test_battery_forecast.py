"""The forecast of a device type: honest intervals, honest refusals, and tests that are not plain values."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fleet.core.battery.forecast import ForecastRules, Packs, RuntimeTests, TypeForecast, forecast
from fleet.core.battery.minimum import MinimumInformation
from fleet.core.errors import BadValueError, NotEnoughDataError
from tests.core.battery_cases import LEVEL, columns, drawn_type

NO_VISIT = float("nan")


def with_test(tests: RuntimeTests, pack: int, age: float, fraction: float, *, early: bool = False) -> RuntimeTests:
    """Give the tests and one more, a full one or one stopped early."""
    return RuntimeTests(
        pack=np.append(tests.pack, pack),
        age_years=np.append(tests.age_years, age),
        fraction=np.append(tests.fraction, fraction),
        usable=np.append(tests.usable, not early),
        stopped_early=np.append(tests.stopped_early, early),
    )


def with_packs(packs: Packs, today: float, visit: float = NO_VISIT) -> Packs:
    """Give the packs and one more."""
    return Packs(np.append(packs.age_today, today), np.append(packs.age_next_visit, visit))


def assert_same_numbers(found: TypeForecast, expected: TypeForecast, packs: slice = slice(None)) -> None:
    """Compare what is forecast of the packs."""
    for name in ("fraction_today", "fraction_sd", "crossing_low_age", "crossing_median_age", "crossing_high_age"):
        assert_allclose(getattr(found, name)[packs], getattr(expected, name)[packs], rtol=1e-6, err_msg=name)


@pytest.mark.parametrize(("packs", "low", "high"), [(60, 0.70, 0.82), (400, 0.765, 0.815)])
def test_the_interval_covers_what_it_says(packs: int, low: float, high: float) -> None:
    """Of packs drawn from the model about 80 % truly cross inside their interval; a small type's are a bit short."""
    covered = []
    for seed in range(20):
        case = drawn_type(seed, packs=packs)
        found = forecast(case.tests, case.packs, level=LEVEL)
        truth = case.true_crossing
        covered.append(np.mean((truth >= found.crossing_low_age) & (truth <= found.crossing_high_age)))
    assert low < np.mean(covered) < high


def test_chances_come_true_as_often_as_they_say() -> None:
    """Over many packs the chances of being below today, and by the visit, add up to those that truly are."""
    case = drawn_type(11, packs=4000)
    found = forecast(case.tests, case.packs, level=LEVEL)
    below_today = case.true_crossing <= case.packs.age_today
    by_visit = case.true_crossing <= case.packs.age_next_visit
    assert found.chance_below_today.mean() == pytest.approx(below_today.mean(), abs=0.015)
    assert found.chance_before_visit.mean() == pytest.approx(by_visit.mean(), abs=0.015)
    assert_allclose(
        found.fraction_today.mean(), (case.truth[:, 0] - case.truth[:, 1] * case.packs.age_today).mean(), atol=5e-3
    )


def test_the_ages_are_in_order_and_the_visit_counts_today() -> None:
    """Low, median and high ages are in order, and a visit's chance is never less than today's."""
    case = drawn_type(12, packs=200)
    found = forecast(case.tests, case.packs, level=LEVEL)
    assert (found.crossing_low_age <= found.crossing_median_age).all()
    assert (found.crossing_median_age <= found.crossing_high_age).all()
    assert (found.chance_before_visit >= found.chance_below_today - 1e-9).all()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 100), st.floats(0.6, 0.9), st.floats(0.0, 0.09))
def test_a_higher_level_is_forecast_no_later(seed: int, level: float, more: float) -> None:
    """Raising the replacement level brings every crossing forward and marks no fewer packs."""
    case = drawn_type(seed)
    lower, higher = (forecast(case.tests, case.packs, level=at) for at in (level, level + more))
    assert (higher.crossing_median_age <= lower.crossing_median_age + 1e-6).all()
    assert (higher.chance_before_visit >= lower.chance_before_visit - 1e-7).all()
    assert (higher.already_below >= lower.already_below).all()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 100))
def test_the_order_of_the_tests_does_not_matter(seed: int) -> None:
    """Shuffled tests give the same forecast."""
    case = drawn_type(seed)
    order = np.random.default_rng(seed).permutation(len(case.tests.pack))
    shuffled = columns(case.tests.pack[order], case.tests.age_years[order], case.tests.fraction[order])
    expected, found = forecast(case.tests, case.packs), forecast(shuffled, case.packs)
    assert_allclose(found.crossing_median_age, expected.crossing_median_age, rtol=1e-4)
    assert_array_equal(found.already_below, expected.already_below)


def test_a_pack_without_tests_is_forecast_by_its_type() -> None:
    """A pack never tested says "type only", crosses about where the type's mean does, and is the least certain."""
    case = drawn_type(13, packs=60)
    found = forecast(case.tests, with_packs(case.packs, 1.0))
    start, fade = found.population.mean
    assert found.basis[-1] == "type only"
    assert set(found.basis[case.tests.pack]) == {"own tests"}
    assert found.crossing_median_age[-1] == pytest.approx((start - LEVEL) / fade, rel=0.02)
    assert found.fraction_sd[-1] > np.sqrt(found.population.spread[0, 0] * 0.5)


def test_no_visit_and_a_late_visit() -> None:
    """Without a planned visit there is no chance to give; a visit that is late counts as today."""
    case = drawn_type(14)
    packs = with_packs(with_packs(case.packs, 3.0), 3.0, 2.0)
    found = forecast(case.tests, packs)
    assert np.isnan(found.chance_before_visit[-2])
    assert found.chance_before_visit[-1] == pytest.approx(found.chance_below_today[-1], abs=1e-7)


def test_tests_that_do_not_count_change_nothing() -> None:
    """A voided test, neither usable nor stopped early, leaves the forecast as it was."""
    case = drawn_type(15)
    tests = with_test(case.tests, 0, 0.4, 0.05)
    voided = replace(tests, usable=np.append(case.tests.usable, False))
    assert_same_numbers(forecast(voided, case.packs), forecast(case.tests, case.packs))


@pytest.mark.parametrize(("bound", "contradicted"), [(0.3, False), (1.6, True)])
def test_a_test_stopped_early_is_a_bound(bound: float, *, contradicted: bool) -> None:
    """A run stopped by hand changes no number; one longer than the forecast allows is marked, not passed over."""
    case = drawn_type(16)
    found = forecast(with_test(case.tests, 0, 0.4, bound, early=True), case.packs)
    assert_same_numbers(found, forecast(case.tests, case.packs))
    assert bool(found.bound_contradicted[0]) is contradicted
    assert not found.bound_contradicted[1:].any()


@pytest.mark.parametrize("wrong", [0.0, 0.05, 1.6, 50.0])
@pytest.mark.parametrize("seed", range(5))
def test_one_wrong_test_does_not_wreck_the_type(seed: int, wrong: float) -> None:
    """A gross error is set aside and named; every other pack's forecast is what it was without it."""
    case = drawn_type(seed, packs=30)
    before = forecast(case.tests, case.packs)
    found = forecast(with_test(case.tests, 0, 0.2, wrong), case.packs)
    assert_array_equal(np.flatnonzero(found.set_aside), [len(case.tests.pack)])
    assert_array_equal(np.flatnonzero(found.has_set_aside), [0])
    assert_same_numbers(found, before, slice(1, None))


def test_an_early_low_test_refuted_by_later_ones_is_not_held_against_the_pack() -> None:
    """A gross low test followed by good ones changes not even its own pack's forecast."""
    case = drawn_type(27, packs=30)
    found = forecast(with_test(case.tests, 1, 0.01, 0.2), case.packs)
    assert found.has_set_aside[1]
    assert_same_numbers(found, forecast(case.tests, case.packs))


def test_several_wrong_tests_do_not_hide_one_another() -> None:
    """Wrong tests in four packs at once, which swell the fitted spread, are all found and nothing else is."""
    case = drawn_type(28, packs=14)
    tests = case.tests
    for pack in range(4):
        tests = with_test(tests, pack, 0.1, 0.35)
    found = forecast(tests, case.packs)
    assert_array_equal(np.flatnonzero(found.set_aside), len(case.tests.pack) + np.arange(4))


def test_a_small_miss_is_no_gross_error() -> None:
    """Among very exact tests one that misses by 0.05 stands far out and is kept: it cannot mislead much."""
    case = drawn_type(29, packs=30, noise_sd=0.001)
    age = float(case.tests.age_years[case.tests.pack == 1].max())
    line = case.truth[1, 0] - case.truth[1, 1] * age
    assert not forecast(with_test(case.tests, 1, age, line - 0.05), case.packs).set_aside.any()


def test_a_wrong_test_among_two_of_a_pack_is_the_one_found() -> None:
    """With just one other test of its pack to compare with, the wrong one is set aside and the good one kept."""
    case = drawn_type(17, packs=30)
    tests = with_test(with_test(case.tests, 30, 1.0, 0.96), 30, 2.0, 0.05)
    found = forecast(tests, with_packs(case.packs, 3.0))
    assert_array_equal(np.flatnonzero(found.set_aside), [len(tests.pack) - 1])


def test_a_pack_whose_latest_test_is_terrible_is_not_called_good() -> None:
    """The type is spared a latest test of 0.2, the pack is not: it is below the level and to be looked at."""
    case = drawn_type(18, packs=30)
    last_age = float(case.packs.age_today[2])
    found = forecast(with_test(case.tests, 2, last_age, 0.2), case.packs)
    assert found.has_set_aside[2]
    assert found.last_test_below[2]
    assert found.already_below[2]
    assert found.fraction_today[2] < LEVEL


def test_a_latest_test_that_is_too_good_is_not_believed() -> None:
    """A latest test far above the pack's line neither raises the forecast nor goes unmarked."""
    case = drawn_type(19, packs=30)
    before = forecast(case.tests, case.packs)
    found = forecast(with_test(case.tests, 2, float(case.packs.age_today[2]), 1.9), case.packs)
    assert found.has_set_aside[2]
    assert_same_numbers(found, before)


def test_a_latest_test_under_the_level_counts_whatever_the_model_makes_of_it() -> None:
    """One minute under the level at the latest test is already below, although the type's forecast is better."""
    case = drawn_type(20, packs=30)
    tests = with_test(case.tests, 30, 0.5, 383 / 480)
    found = forecast(tests, with_packs(case.packs, 0.5))
    assert found.last_test_below[-1]
    assert found.already_below[-1]
    met = forecast(with_test(case.tests, 30, 0.5, 384 / 480), with_packs(case.packs, 0.5))
    assert not met.last_test_below[-1]


def test_a_pack_is_not_forecast_to_recover() -> None:
    """Where a pack's own tests rise with age, today's fraction is that of its last test and no crossing is made up."""
    case = drawn_type(21, packs=40, spread=np.diag([4e-4, 25e-4]))
    tests = case.tests
    for age, fraction in ((0.5, 0.85), (1.0, 0.9), (1.5, 0.95), (2.0, 1.0)):
        tests = with_test(tests, 40, age, fraction)
    found = forecast(tests, with_packs(case.packs, 9.0, 9.5))
    assert 0.95 < found.fraction_today[-1] < 1.05
    assert found.crossing_high_age[-1] == np.inf
    assert 0.0 <= found.chance_before_visit[-1] < 0.5


def test_a_type_that_does_not_fade_gets_no_forecast() -> None:
    """Where the tests of a type show no fade, no crossing is invented."""
    case = drawn_type(22, mean=np.array([0.9, -0.05]))
    with pytest.raises(NotEnoughDataError, match="no fade"):
        forecast(case.tests, case.packs)


@pytest.mark.parametrize(
    ("minimum", "words"),
    [
        (MinimumInformation(packs=100), "packs with a full runtime test, 100 needed"),
        (MinimumInformation(repeated_packs=100), "packs tested twice or more, 100 needed"),
        (MinimumInformation(age_spread_years=30.0), "years of pack age apart, 30.0 needed"),
    ],
)
def test_each_minimum_is_asked_for(minimum: MinimumInformation, words: str) -> None:
    """A type short of any minimum gets words that say what it has and what it needs."""
    case = drawn_type(23)
    with pytest.raises(NotEnoughDataError, match=words):
        forecast(case.tests, case.packs, rules=ForecastRules(minimum=minimum))


def test_one_test_each_does_not_tell_error_from_difference() -> None:
    """Many packs with one test each are refused: none was tested twice."""
    age = np.linspace(0.5, 5.0, 20)
    single = columns(np.arange(20), age, 1.0 - 0.05 * age)
    with pytest.raises(NotEnoughDataError, match="0 packs tested twice or more, 3 needed"):
        forecast(single, Packs(age, age + 0.5))


def test_a_test_set_aside_does_not_make_up_the_minimum() -> None:
    """Where a wrong test is all that is known of the last pack needed, the type has one pack too few."""
    case = drawn_type(30, packs=30)
    tests = with_test(case.tests, 30, 1.0, 0.05)
    packs = with_packs(case.packs, 2.0)
    needed = len(np.unique(tests.pack))
    rules = ForecastRules(minimum=MinimumInformation(packs=needed))
    with pytest.raises(NotEnoughDataError, match=f"{needed - 1} packs with a full runtime test, {needed} needed"):
        forecast(tests, packs, rules=rules)


def test_tests_that_are_no_values_do_not_make_up_the_minimum() -> None:
    """A type with none but early-stopped tests, or with no test at all, gets no number."""
    case = drawn_type(24)
    early = replace(case.tests, usable=~case.tests.usable, stopped_early=case.tests.usable)
    none = columns(np.array([], dtype=int), np.array([]), np.array([]))
    for tests in (early, none):
        with pytest.raises(NotEnoughDataError, match="0 packs with a full runtime test, 8 needed"):
            forecast(tests, case.packs)


@pytest.mark.parametrize("level", [0.0, 1.0, 80.0, float("nan")])
def test_a_level_that_is_none_is_refused(level: float) -> None:
    """A level given in percent, or outside 0 to 1, is refused."""
    case = drawn_type(25)
    with pytest.raises(BadValueError, match="level is"):
        forecast(case.tests, case.packs, level=level)


def test_a_test_of_an_unknown_pack_is_refused() -> None:
    """Each test must belong to one of the packs given."""
    case = drawn_type(26)
    with pytest.raises(BadValueError, match=r"pack\[\d+\] is 40; there are 40 packs, counted from 0"):
        forecast(with_test(case.tests, 40, 1.0, 0.9), case.packs)


@pytest.mark.parametrize(
    ("field", "values", "words"),
    [
        ("pack", [0, -1], r"pack\[1\] is -1"),
        ("age_years", [1.0, -1.0], r"age_years\[1\] is -1.0"),
        ("fraction", [0.9, np.nan], r"fraction\[1\] is nan"),
        ("fraction", [0.9], "fraction has 1 rows and pack has 2"),
        ("usable", [1, 0], "one true or false per row"),
        ("stopped_early", [False, True], r"usable\[1\] is True; a test stopped early is a lower bound"),
    ],
)
def test_unusable_tests_are_refused(field: str, values: list[float], words: str) -> None:
    """A column of tests that cannot be used is refused with field, row and value."""
    good = columns(np.array([0, 1]), np.array([1.0, 2.0]), np.array([0.95, 0.9]))
    with pytest.raises(BadValueError, match=words):
        replace(good, **{field: np.array(values)})


@pytest.mark.parametrize(
    ("today", "visit", "words"),
    [
        (-1.0, 2.0, r"age_today\[0\] is -1.0"),
        (np.nan, 2.0, r"age_today\[0\] is nan"),
        (1.0, np.inf, r"age_next_visit\[0\] is inf"),
    ],
)
def test_unusable_packs_are_refused(today: float, visit: float, words: str) -> None:
    """A pack without a usable age is refused with field, row and value."""
    with pytest.raises(BadValueError, match=words):
        Packs(np.array([today]), np.array([visit]))
