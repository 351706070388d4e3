"""The forecast of a device type: honest intervals, honest words for what is not known, tests that are not plain."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fleet.core.battery.bend.borrowing import TypeRecord, type_prior
from fleet.core.battery.bend.histories import OUTSIDE_TABLE, SHORT_CHARGE, FadeTests
from fleet.core.battery.bend.parameters import assumed_prior
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.forecast import ForecastRules, Packs, TypeForecast, forecast
from fleet.core.battery.minimum import MinimumInformation
from fleet.core.errors import BadValueError
from tests.core.battery_cases import LEVEL, DrawnType, columns, drawn_type

NO_VISIT = float("nan")


def with_test(
    tests: FadeTests,
    pack: int,
    age: float,
    fraction: float,
    *,
    early: bool = False,
    kind: int = 0,
    shortfall: float = 0.0,
) -> FadeTests:
    """Give the tests and one more, a full one unless said otherwise."""
    return FadeTests(
        pack=np.append(tests.pack, pack),
        age_years=np.append(tests.age_years, age),
        fraction=np.append(tests.fraction, fraction),
        bound=np.append(tests.bound, early),
        kind=np.append(tests.kind, kind),
        shortfall=np.append(tests.shortfall, shortfall),
    )


def with_packs(packs: Packs, today: float, visit: float = NO_VISIT) -> Packs:
    """Give the packs and one more."""
    return Packs(np.append(packs.age_today, today), np.append(packs.age_next_visit, visit))


@cache
def usual() -> tuple[DrawnType, TypeForecast]:
    """A type of 40 packs and its forecast: its numbers serve where only one pack's tests are changed."""
    case = drawn_type(1)
    return case, forecast(case.tests, case.packs, level=LEVEL)


def changed(tests: FadeTests, packs: Packs) -> TypeForecast:
    """The forecast of changed tests under the usual type's numbers."""
    return forecast(tests, packs, level=LEVEL, fit=usual()[1].fit)


@pytest.mark.parametrize(
    ("packs", "seeds", "bend", "low", "high"),
    [(10, 12, 0.0, 0.78, 0.95), (40, 6, 0.0, 0.75, 0.9), (40, 6, 0.006, 0.75, 0.92), (300, 2, 0.006, 0.75, 0.87)],
)
def test_the_interval_covers_what_it_says(packs: int, seeds: int, bend: float, low: float, high: float) -> None:
    """About 80 % truly cross inside their interval, in small types too, whether the fade is straight or bends."""
    covered = []
    for seed in range(seeds):
        case = drawn_type(seed, packs=packs, bend=bend, mean=np.array([1.02, 0.05 - 4 * bend]))
        found = forecast(case.tests, case.packs, level=LEVEL)
        truth = case.true_crossing
        covered.append(np.mean((truth >= found.crossing_low_age) & (truth <= found.crossing_high_age)))
    assert low < np.mean(covered) < high


def test_chances_come_true_as_often_as_they_say() -> None:
    """Over many packs the chances of being below today, by the next visit and by the one after add up to the truth."""
    case = drawn_type(11, packs=1500, bend=0.004, mean=np.array([1.02, 0.035]))
    found = forecast(case.tests, case.packs, level=LEVEL)
    for name, age in (
        ("chance_below_today", case.packs.age_today),
        ("chance_before_visit", case.packs.age_next_visit),
        ("chance_before_following", case.packs.age_following_visit),
    ):
        assert getattr(found, name).mean() == pytest.approx((case.true_crossing <= age).mean(), abs=0.03), name
    assert found.fraction_today.mean() == pytest.approx(case.true_fraction(case.packs.age_today).mean(), abs=5e-3)


def test_ages_and_chances_are_in_order() -> None:
    """Low, median and high ages are in order, and a later visit's chance is never less than an earlier one's."""
    _, found = usual()
    assert (found.crossing_low_age <= found.crossing_median_age).all()
    assert (found.crossing_median_age <= found.crossing_high_age).all()
    assert (found.chance_before_visit >= found.chance_below_today - 1e-9).all()
    assert (found.chance_before_following >= found.chance_before_visit - 1e-9).all()


@pytest.mark.parametrize("correction", [Recalibration(), Recalibration(0.7, 1.6, 40)])
def test_interval_and_chances_agree(correction: Recalibration) -> None:
    """By the low, middle and high age of its interval a pack has crossed with chance 0.1, 0.5 and 0.9, corrected."""
    case, before = usual()
    first = forecast(case.tests, case.packs, level=LEVEL, fit=before.fit, recalibration=correction)
    ends = (first.crossing_low_age, first.crossing_median_age, first.crossing_high_age)
    for end, chance in zip(ends, (0.1, 0.5, 0.9), strict=True):
        ahead = np.isfinite(end) & (end > case.packs.age_today)
        packs = Packs(case.packs.age_today, np.where(ahead, end, np.nan))
        again = forecast(case.tests, packs, level=LEVEL, fit=before.fit, recalibration=correction)
        assert ahead.sum() > 5
        assert_allclose(again.chance_before_visit[ahead], chance, atol=0.02)


def test_a_correction_moves_what_is_said_and_keeps_what_was() -> None:
    """Chances are corrected by the type's known crossings; the uncorrected one stays beside them."""
    case, before = usual()
    correction = Recalibration(0.7, 1.6, 40)
    found = forecast(case.tests, case.packs, level=LEVEL, fit=before.fit, recalibration=correction)
    assert_allclose(found.chance_uncorrected, before.chance_before_visit)
    assert_allclose(found.chance_before_visit, correction.chance(before.chance_before_visit))
    assert (found.crossing_median_age <= before.crossing_median_age + 1e-9).all()
    low, high = (each.course(each.outlook, case.packs.age_today, np.array([1.0])) for each in (found, before))
    assert (low[1] <= high[1]).all()


@pytest.mark.parametrize(("level", "more"), [(0.6, 0.05), (0.75, 0.05), (0.85, 0.04)])
def test_a_higher_level_is_forecast_no_later(level: float, more: float) -> None:
    """Raising the replacement level brings every crossing forward and marks no fewer packs."""
    case, known = usual()
    lower, higher = (forecast(case.tests, case.packs, level=at, fit=known.fit) for at in (level, level + more))
    assert (higher.crossing_median_age <= lower.crossing_median_age + 1e-6).all()
    assert (higher.chance_before_visit >= lower.chance_before_visit - 1e-7).all()
    assert (higher.already_below >= lower.already_below).all()


def test_the_order_of_the_tests_does_not_matter() -> None:
    """Shuffled tests give the same forecast, and each mark stays with its test."""
    case, expected = usual()
    order = np.random.default_rng(3).permutation(len(case.tests.pack))
    found = forecast(case.tests.rows(order), case.packs, level=LEVEL)
    assert_allclose(found.crossing_median_age, expected.crossing_median_age, rtol=1e-3)
    assert_array_equal(found.already_below, expected.already_below)
    assert_array_equal(found.set_aside, expected.set_aside[order])


def test_a_pack_without_tests_is_forecast_by_its_type() -> None:
    """A pack never tested is marked so, crosses about where its type does, and is less certain than most others."""
    case, _ = usual()
    found = changed(case.tests, with_packs(case.packs, 1.0))
    assert not found.own_tests[-1]
    assert found.own_tests[case.tests.pack].all()
    assert found.crossing_median_age[-1] == pytest.approx(np.median(case.true_crossing), rel=0.15)
    width = found.crossing_high_age - found.crossing_low_age
    assert width[-1] > np.quantile(width[np.unique(case.tests.pack)], 0.8)


def test_no_visit_and_a_late_visit() -> None:
    """Without a planned visit there is no chance to give; a visit that is late counts as today."""
    case, _ = usual()
    found = changed(case.tests, with_packs(with_packs(case.packs, 3.0), 3.0, 2.0))
    assert np.isnan(found.chance_before_visit[-2])
    assert np.isnan(found.chance_before_following).all()
    assert found.chance_before_visit[-1] == pytest.approx(found.chance_below_today[-1])


@pytest.mark.parametrize(("bound", "contradicted"), [(0.3, False), (1.25, True)])
def test_a_test_stopped_early_is_a_bound(bound: float, *, contradicted: bool) -> None:
    """A short run stopped by hand changes next to nothing; one longer than the forecast allows is marked."""
    case, before = usual()
    found = changed(with_test(case.tests, 0, 0.4, bound, early=True), case.packs)
    assert bool(found.bound_contradicted[0]) is contradicted
    assert not found.bound_contradicted[1:].any()
    if not contradicted:
        assert_allclose(found.fraction_today, before.fraction_today, atol=2e-3)


def test_a_long_run_stopped_early_speaks_for_the_pack() -> None:
    """An untested pack that ran 0.95 of its rating at five years, then was stopped, is forecast to last longer."""
    case, _ = usual()
    packs = with_packs(case.packs, 5.0, 5.5)
    without, found = changed(case.tests, packs), changed(with_test(case.tests, 40, 5.0, 0.95, early=True), packs)
    assert found.fraction_today[-1] > without.fraction_today[-1] + 0.03
    assert found.chance_before_visit[-1] < without.chance_before_visit[-1]
    assert not found.own_tests[-1]


@pytest.mark.parametrize("kind", [SHORT_CHARGE, OUTSIDE_TABLE])
def test_a_test_off_in_kind_says_less(kind: int) -> None:
    """A low run after a short charge or outside the table moves a pack less than a plain one, and is no verdict."""
    case, before = usual()
    age = float(case.packs.age_today[3])
    low = float(before.fraction_today[3]) - 0.06
    missing = 0.5 if kind == SHORT_CHARGE else 0.0
    plain = changed(with_test(case.tests, 3, age, low), case.packs)
    found = changed(with_test(case.tests, 3, age, min(low, LEVEL - 0.01), kind=kind, shortfall=missing), case.packs)
    assert abs(found.fraction_today[3] - before.fraction_today[3]) < before.fraction_today[3] - plain.fraction_today[3]
    assert not found.last_test_below[3] or before.last_test_below[3]


@pytest.mark.parametrize(("seed", "wrong"), [(0, 0.0), (1, 0.05), (2, 1.28), (3, 50.0)])
def test_one_wrong_test_does_not_wreck_the_type(seed: int, wrong: float) -> None:
    """A gross error is set aside and named; the other packs' forecasts hardly move."""
    case = drawn_type(seed, packs=30)
    before = forecast(case.tests, case.packs, level=LEVEL)
    found = forecast(with_test(case.tests, 0, 0.2, wrong), case.packs, level=LEVEL)
    assert found.set_aside[-1]
    assert_array_equal(found.set_aside[:-1], before.set_aside)
    assert found.has_set_aside[0]
    assert_allclose(found.fraction_today, before.fraction_today, atol=0.015)


def test_several_wrong_tests_do_not_hide_one_another() -> None:
    """Wrong tests in four packs at once are all found and nothing else is."""
    case = drawn_type(28, packs=14)
    tests = case.tests
    for pack in range(4):
        tests = with_test(tests, pack, 0.1, 0.35)
    found = forecast(tests, case.packs, level=LEVEL)
    assert_array_equal(np.flatnonzero(found.set_aside), len(case.tests.pack) + np.arange(4))


def test_a_small_miss_is_no_gross_error() -> None:
    """One test that misses by two and a half times the usual error is kept."""
    case, _ = usual()
    true = float(case.true_fraction(np.full(40, 0.4))[0])
    assert not changed(with_test(case.tests, 0, 0.4, true - 0.05), case.packs).set_aside[-1]


def test_a_latest_test_that_is_terrible_is_not_called_good() -> None:
    """The type is spared a latest test of 0.2, the pack is not: it is below the level and to be looked at."""
    case, _ = usual()
    found = changed(with_test(case.tests, 2, float(case.packs.age_today[2]), 0.2), case.packs)
    assert found.has_set_aside[2]
    assert found.last_test_below[2]
    assert found.already_below[2]
    assert not found.uncertain[2]


def test_a_latest_test_that_is_too_good_is_a_jump() -> None:
    """A test far above the earlier ones asks whether a new pack went in; it does not raise the forecast much."""
    case, before = usual()
    pack = 1
    found = changed(with_test(case.tests, pack, float(case.packs.age_today[pack]), 1.29), case.packs)
    assert found.jump[-1]
    assert_array_equal(found.jump[:-1], before.jump)
    assert found.has_jump[pack]
    assert found.set_aside[-1]
    assert found.fraction_today[pack] == pytest.approx(before.fraction_today[pack], abs=0.02)


def test_a_low_test_is_no_jump() -> None:
    """A surprise downwards is no sign of a new pack."""
    case, before = usual()
    found = changed(with_test(case.tests, 1, float(case.packs.age_today[1]), 0.3), case.packs)
    assert_array_equal(found.has_jump, before.has_jump)


def test_a_latest_test_under_the_level_counts_whatever_the_model_makes_of_it() -> None:
    """One minute under the level at the latest test is already below, although the type's forecast is better."""
    case, _ = usual()
    packs = with_packs(case.packs, 0.5)
    found = changed(with_test(case.tests, 40, 0.5, 383 / 480), packs)
    assert found.last_test_below[-1]
    assert found.already_below[-1]
    assert found.fraction_today[-1] > LEVEL
    assert not changed(with_test(case.tests, 40, 0.5, 384 / 480), packs).last_test_below[-1]


def test_the_verdict_of_a_test_is_of_what_was_measured() -> None:
    """Tests brought to the reference temperature decide the forecast, never whether the latest was under the level."""
    case, known = usual()
    tests, packs = with_test(case.tests, 40, 0.5, 0.81), with_packs(case.packs, 0.5)
    measured = np.append(case.tests.fraction, 0.79)
    found = forecast(tests, packs, level=LEVEL, fit=known.fit, measured=measured)
    assert found.last_test_below[-1]
    assert not forecast(tests, packs, level=LEVEL, fit=known.fit).last_test_below[-1]


def test_no_pack_is_forecast_to_recover_or_to_fall_below_nothing() -> None:
    """Where a pack's own tests rise with age, its course from the last test on still doesn't, nor does any."""
    case, _ = usual()
    tests = case.tests
    for age, fraction in ((0.5, 0.88), (1.0, 0.92), (1.5, 0.96), (2.0, 1.0)):
        tests = with_test(tests, 40, age, fraction)
    found = changed(tests, with_packs(case.packs, 3.0, 3.5))
    known = found.outlook
    assert found.fraction_today[-1] <= known.fraction_at(np.full(41, 2.0))[0][-1] + 1e-9
    course = found.course(known, found.packs.age_today, np.linspace(0.0, 40.0, 9))
    assert (np.diff(course, axis=1) <= 0).all()
    assert course.min() == 0.0
    assert (np.diff(course, axis=0) >= 0).all()


@pytest.mark.parametrize(
    ("minimum", "words"),
    [
        (MinimumInformation(packs=100), "packs with a full runtime test, 100 needed"),
        (MinimumInformation(repeated_packs=100), "packs tested twice or more, 100 needed"),
        (MinimumInformation(age_spread_years=30.0), "years of pack age apart, 30.0 needed"),
    ],
)
def test_a_type_short_of_any_minimum_rests_on_what_is_assumed(minimum: MinimumInformation, words: str) -> None:
    """Such a type says what it has and what it needs, and that its numbers are assumed."""
    case, known = usual()
    found = forecast(case.tests, case.packs, level=LEVEL, fit=known.fit, rules=ForecastRules(minimum=minimum))
    assert words in found.lacking
    assert found.informed == "assumed"
    assert (known.informed, known.lacking) == ("own", "")


def test_tests_that_are_no_values_do_not_make_up_the_minimum() -> None:
    """A type with none but early-stopped or short-charge tests has no pack with a full test."""
    case, known = usual()
    early = replace(case.tests, bound=~case.tests.bound)
    short = replace(case.tests, kind=np.full(len(case.tests.pack), SHORT_CHARGE))
    for tests in (early, short):
        found = forecast(tests, case.packs, level=LEVEL, fit=known.fit)
        assert "0 packs with a full runtime test, 8 needed" in found.lacking


def test_a_new_type_borrows_from_its_chemistry() -> None:
    """With no test of its own a type is forecast from others, says so, and is surer than from an assumption."""
    others = [drawn_type(seed, packs=60) for seed in (31, 32)]
    records = [TypeRecord("NiMH", other.tests, 60, np.zeros(60), LEVEL, 0.04) for other in others]
    prior = type_prior("NiMH", records)
    packs = Packs(np.array([0.5, 3.0]), np.array([1.0, 3.5]))
    borrowed = forecast(columns([], [], []), packs, level=LEVEL, prior=prior)
    assumed = forecast(columns([], [], []), packs, level=LEVEL, prior=assumed_prior(4.0))
    assert (borrowed.informed, assumed.informed) == ("kin", "assumed")
    middle = np.median(np.concatenate([other.true_crossing for other in others]))
    assert borrowed.crossing_low_age[0] < middle < borrowed.crossing_high_age[0]
    spans = [found.crossing_high_age[0] / found.crossing_low_age[0] for found in (borrowed, assumed)]
    assert spans[0] < spans[1]


def test_a_pack_of_which_nothing_is_known_is_uncertain() -> None:
    """Where the interval spans more than the factor that is allowed there is no number; tests of the pack settle it."""
    packs, rules = Packs(np.array([3.0, 1.0]), np.array([4.0, 2.0])), ForecastRules(widest=1.8)
    tests = columns([0, 0], [2.0, 3.0], [0.9, 0.85])
    found = forecast(tests, packs, level=LEVEL, prior=assumed_prior(4.0), rules=rules)
    assert_array_equal(found.uncertain, [False, True])
    assert found.crossing_high_age[1] > 1.8 * found.crossing_low_age[1]
    never = forecast(tests, packs, level=LEVEL, prior=assumed_prior(4.0), rules=ForecastRules(horizon_years=2.0))
    assert_array_equal(np.isinf(never.crossing_high_age), never.uncertain)
    assert not usual()[1].uncertain.any()


def test_an_interval_that_begins_before_the_last_test_says_so() -> None:
    """A pack just above its level may be below already: its interval begins before its test. One far above isn't."""
    case, _ = usual()
    tests = with_test(with_test(case.tests, 40, 3.0, 0.805), 41, 1.0, 1.0)
    found = changed(tests, with_packs(with_packs(case.packs, 3.0), 1.0))
    assert_array_equal(found.low_is_past[-2:], [True, False])


def test_no_crossing_is_named_far_beyond_the_oldest_age_that_is_known_of() -> None:
    """Ages beyond three times the oldest known are not named; chances, and ages within, stay as they are."""
    case, before = usual()
    found = forecast(case.tests, case.packs, level=LEVEL, fit=before.fit, vouched_years=1.5)
    for name in ("crossing_low_age", "crossing_median_age", "crossing_high_age"):
        was, now = getattr(before, name), getattr(found, name)
        assert_array_equal(now, np.where(was > 4.5, np.inf, was))
    assert np.isinf(found.crossing_high_age).any()
    assert np.isfinite(found.crossing_low_age).any()
    assert_array_equal(found.chance_before_following, before.chance_before_following)
    assert_array_equal(found.uncertain, before.uncertain)


def test_packs_seen_from_mid_life_do_not_look_slower_than_they_are() -> None:
    """A record that began when packs were old lacks the quick ones; told so, the forecast of a new pack is not late."""
    case = drawn_type(41, packs=1200, tests_each=3, spread=np.diag([4e-4, 4e-4]))
    began = case.packs.age_today - 0.75
    kept = np.flatnonzero((began > 0.5) & (case.true_crossing > began))
    rows = np.flatnonzero(np.isin(case.tests.pack, kept) & (case.tests.age_years >= began[case.tests.pack]))
    tests = replace(case.tests.rows(rows), pack=np.searchsorted(kept, case.tests.pack[rows]))
    today, entry = case.packs.age_today[kept], began[kept]
    blind, told = (
        forecast(tests, Packs(np.append(today, 0.0), np.full(len(today) + 1, np.nan), entry_age=ages), level=LEVEL)
        for ages in (None, np.append(entry, 0.0))
    )
    truth = np.median(case.true_crossing)
    late_blind, late_told = (float(found.crossing_median_age[-1] - truth) for found in (blind, told))
    assert late_blind > 0.2
    assert abs(late_told) < 0.6 * late_blind


def test_packs_that_were_taken_out_stay_in_the_fit() -> None:
    """Removed packs are rows like others, and the level at which worn ones went is learned from them."""
    case, known = usual()
    tests, packs = case.tests, case.packs
    for row in range(12):
        tests = with_test(tests, 40 + row, 4.0, 0.74 + 0.001 * row)
        packs = with_packs(packs, 4.0)
    removed = np.arange(52) >= 40
    marked = Packs(packs.age_today, packs.age_next_visit, removed=removed)
    found = forecast(tests, marked, level=LEVEL, fit=known.fit)
    assert found.histories.entry_level == pytest.approx(0.7455)
    assert known.histories.entry_level == LEVEL


def test_a_part_of_the_packs_is_known_as_they_are_among_all() -> None:
    """The outlook of some packs, in any order and twice, is theirs in the outlook of all."""
    case, found = usual()
    rows = np.array([7, 3, 3, 20])
    ages = case.packs.age_today + 1.0
    assert_allclose(found.outlook_of(rows)(ages[rows]), found.outlook(ages)[rows], atol=1e-12)


def test_more_packs_than_are_held_together_are_all_forecast() -> None:
    """Packs far down a long list are forecast as they would be at its top."""
    case, known = usual()
    times = 60
    tests = FadeTests.of(
        np.concatenate([case.tests.pack + 40 * each for each in range(times)]),
        np.tile(case.tests.age_years, times),
        np.tile(case.tests.fraction, times),
    )
    packs = Packs(np.tile(case.packs.age_today, times), np.tile(case.packs.age_next_visit, times))
    found = changed(tests, packs)
    assert_allclose(found.chance_before_visit[-40:], known.chance_before_visit, atol=1e-9)
    assert_allclose(found.crossing_median_age[:40], found.crossing_median_age[-40:], rtol=1e-9)


@pytest.mark.parametrize("level", [0.0, 1.01, 80.0, float("nan")])
def test_a_level_that_is_none_is_refused(level: float) -> None:
    """A level given in percent, or outside 0 to 1, is refused."""
    case, _ = usual()
    with pytest.raises(BadValueError, match="level is"):
        forecast(case.tests, case.packs, level=level)


def test_a_level_of_the_whole_rating_is_forecast() -> None:
    """The record allows a level of 100 %: the night must get past a type that has it."""
    case, before = usual()
    found = forecast(case.tests, case.packs, level=1.0, fit=before.fit)
    assert np.isfinite(found.chance_before_visit).all()
    assert (found.crossing_median_age <= before.crossing_median_age).all()


def test_a_test_of_an_unknown_pack_is_refused() -> None:
    """Each test must belong to one of the packs given."""
    case, _ = usual()
    with pytest.raises(BadValueError, match=r"pack\[\d+\] is 40; there are 40 packs, counted from 0"):
        forecast(with_test(case.tests, 40, 1.0, 0.9), case.packs)


@pytest.mark.parametrize(
    ("today", "visit", "more", "words"),
    [
        (-1.0, 2.0, {}, r"age_today\[0\] is -1.0"),
        (np.nan, 2.0, {}, r"age_today\[0\] is nan"),
        (1.0, np.inf, {}, r"age_next_visit\[0\] is inf"),
        (1.0, 2.0, {"age_following_visit": [-1.0]}, r"age_following_visit\[0\] is -1.0"),
        (1.0, 2.0, {"entry_age": [np.nan]}, r"entry_age\[0\] is nan"),
        (1.0, 2.0, {"use": [np.inf]}, r"use\[0\] is inf"),
        (1.0, 2.0, {"removed": [1]}, "removed must be one true or false per row"),
        (1.0, 2.0, {"removed": [True, False]}, "removed has 2 rows and age_today has 1"),
    ],
)
def test_unusable_packs_are_refused(today: float, visit: float, more: dict[str, list[float]], words: str) -> None:
    """A pack without a usable age or mark is refused with field, row and value."""
    with pytest.raises(BadValueError, match=words):
        Packs(np.array([today]), np.array([visit]), **more)
