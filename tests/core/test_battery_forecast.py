"""The forecast of a device type: honest intervals, honest words for what is not known."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fleet.core.battery.bend.borrowing import TypeRecord, type_prior
from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.bend.parameters import assumed_prior
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.forecast import forecast
from fleet.core.battery.foreseen import ForecastRules, Packs
from fleet.core.battery.minimum import MinimumInformation
from fleet.core.errors import BadValueError
from tests.core.battery_cases import LEVEL, changed, columns, drawn_type, usual, with_packs, with_test


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
