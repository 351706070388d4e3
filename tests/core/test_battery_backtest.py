"""Rolling the clock through records whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.backtest import (
    CORRECTED,
    BacktestPacks,
    Forecasts,
    Record,
    backtest,
    joined,
    known_at,
    known_crossings,
)
from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.bend.ranks import LEAST_RANKS
from fleet.core.battery.scores import Truths, score
from fleet.core.battery.ways import WAYS, Effort
from tests.core.backtest_cases import ENDS, LEVEL, ORIGINS, drawn_record

QUICK = Effort(draws=8, most_packs=60)


@pytest.fixture(scope="module")
def three_types() -> tuple[Forecasts, FloatArray]:
    """Forecasts of three drawn records together, and the true crossing of each pack."""
    drawn = [drawn_record(seed) for seed in range(3)]
    found = [backtest(each.record, ORIGINS[::2], until=ENDS).forecasts for each in drawn]
    truth = [each.crossing[part.pack] for each, part in zip(drawn, found, strict=True)]
    return joined(found), np.concatenate(truth)


def small(**changes: object) -> Record:
    """Three packs: one that crossed, one that goes on, one that was replaced for its age."""
    tests = FadeTests.of([0, 0, 0, 1, 1, 2], [0.5, 1.5, 2.5, 0.5, 2.0, 1.0], [0.98, 0.9, 0.7, 0.98, 0.93, 0.95])
    packs = BacktestPacks(
        fitted=np.zeros(3),
        removed=np.array([2.6, np.nan, 1.8]),
        worn=np.array([True, False, False]),
        entry_age=np.zeros(3),
        group=np.array(["a", "b", "a"]),
    )
    return replace(Record(tests, packs, LEVEL), **changes)


def test_what_is_known_of_a_crossing() -> None:
    """Between the last test above and the first below; packs in service or replaced early are censored."""
    low, high = known_crossings(small(), 3.0)
    np.testing.assert_allclose(low, [1.5, 2.0, 1.0])
    np.testing.assert_array_equal(high, [2.5, np.inf, np.inf])


def test_what_was_known_earlier_is_less() -> None:
    """At 2.0 years nobody knew of the low test at 2.5."""
    low, high = known_crossings(small(), 2.0)
    np.testing.assert_allclose(low, [1.5, 2.0, 1.0])
    assert np.isinf(high).all()


def test_a_pack_worn_out_without_a_test_crossed_before_it_went() -> None:
    """Its removal as worn is what shows it."""
    record = small(tests=FadeTests.of([0, 1], [1.5, 2.0], [0.9, 0.93]))
    assert known_crossings(record, 3.0)[1][0] == 2.6


def test_a_low_test_with_a_good_one_after_it_is_taken_as_wrong() -> None:
    """The pack cannot have recovered."""
    record = small(tests=FadeTests.of([1, 1, 1], [0.5, 1.0, 2.0], [0.98, 0.3, 0.93]))
    low, high = known_crossings(record, 3.0)
    assert (low[1], high[1]) == (2.0, np.inf)


def test_a_test_near_the_level_leaves_open_what_its_error_leaves_open() -> None:
    """0.79 may have been 0.81: the crossing may have come later than the test, and earlier than one at 0.81."""
    record = small(tests=FadeTests.of([1, 1, 1], [0.5, 2.0, 2.5], [0.98, 0.81, 0.79]))
    low, high = known_crossings(record, 3.0)
    assert 1.0 < low[1] < 2.0
    assert 2.5 < high[1] < 3.5


def test_bounds_and_odd_tests_show_nothing_of_the_crossing() -> None:
    """A test stopped early or charged short at 0.7 is no test below."""
    tests = FadeTests.of([1, 1, 1], [0.5, 1.0, 2.0], [0.9, 0.7, 0.7], [False, True, False], [0, 0, 1])
    low, high = known_crossings(small(tests=tests), 3.0)
    assert (low[1], high[1]) == (0.5, np.inf)


def test_coverage_is_near_what_is_said(three_types: tuple[Forecasts, FloatArray]) -> None:
    """By the truth nobody knows within six points, and as measured by tests alone within ten of that."""
    forecasts, truth = three_types
    true = score(forecasts.laws["bend"], Truths(truth, truth, forecasts.pack))
    measured = forecasts.score("bend")
    assert true.within_80 == pytest.approx(0.80, abs=0.06)
    assert true.within_95 == pytest.approx(0.95, abs=0.04)
    assert true.early < 0.08
    assert measured.within_80 == pytest.approx(true.within_80, abs=0.1)
    assert measured.within_95 == pytest.approx(true.within_95, abs=0.1)


def test_the_bend_beats_the_lines_by_the_truth_and_as_measured(three_types: tuple[Forecasts, FloatArray]) -> None:
    """What tests show ranks the ways as the truth does."""
    forecasts, truth = three_types
    true = {way: score(forecasts.laws[way], Truths(truth, truth, forecasts.pack)).crps for way in WAYS}
    measured = {way: forecasts.score(way).crps for way in WAYS}
    for crps in (true, measured):
        assert crps["bend"] < 0.8 * min(crps["own"], crps["mixed"], crps["pooled"])


def test_the_correction_does_no_harm(three_types: tuple[Forecasts, FloatArray]) -> None:
    """Where the forecast is right already, its correction moves it little."""
    forecasts, _ = three_types
    before, after = forecasts.score("bend"), forecasts.score(CORRECTED)
    assert after.crps < 1.1 * before.crps


def test_replaced_packs_stay_in() -> None:
    """Packs replaced for other reasons are forecast, scored as censored, and their tests stay in the fit."""
    drawn = drawn_record(7)
    packs = drawn.record.packs
    early = np.isfinite(packs.removed) & ~packs.worn
    found = backtest(drawn.record, ORIGINS, until=ENDS, effort=QUICK).forecasts
    replaced = early[found.pack]
    assert replaced.any()
    assert np.isinf(found.high[replaced]).mean() > 0.5
    known = known_at(drawn.record, ORIGINS[-1])
    assert early[known.tests.pack].any()


def test_only_packs_in_service_and_not_below_are_forecast() -> None:
    """Nobody asks when a pack will cross that has, that is gone, or that nobody knew of yet."""
    drawn = drawn_record(8)
    record, packs = drawn.record, drawn.record.packs
    found = backtest(record, ORIGINS[:2], until=ENDS, effort=QUICK).forecasts
    assert (packs.fitted + packs.entry_age)[found.pack].max() <= ORIGINS[1]
    assert not (packs.removed[found.pack] <= found.origin).any()
    assert (found.high > found.origin - packs.fitted[found.pack] - 1.0).all()


@settings(max_examples=3, deadline=None)
@given(st.integers(0, 10_000))
def test_nothing_from_after_an_origin_reaches_its_forecasts(seed: int) -> None:
    """Tests, removals and fittings after the origin are changed at random; the forecasts from it do not move."""
    rng = np.random.default_rng(seed)
    record = drawn_record(9, slots=40).record
    origin = float(ORIGINS[3])
    packs, tests = record.packs, record.tests
    later = record.tested_at > origin
    value = np.where(later, rng.uniform(0.0, 1.2, len(later)), tests.fraction)
    moved = np.where(packs.removed > origin, origin + rng.uniform(0.1, 3.0, len(packs)), packs.removed)
    worn = np.where(packs.removed > origin, rng.uniform(size=len(packs)) < 0.5, packs.worn)
    drop = later & (rng.uniform(size=len(later)) < 0.3)
    changed = replace(
        record,
        tests=replace(tests, fraction=value).rows(~drop),
        packs=replace(packs, removed=moved, worn=worn),
    )
    one, other = (backtest(each, np.array([origin]), until=ENDS, effort=QUICK).forecasts for each in (record, changed))
    _, first, second = np.intersect1d(one.pack, other.pack, return_indices=True)
    assert len(first) > 5
    for way in WAYS:
        np.testing.assert_array_equal(one.laws[way].age[:, first], other.laws[way].age[:, second])


def test_the_correction_of_an_origin_comes_from_earlier_origins_alone() -> None:
    """The first origin is never corrected; what becomes known after an origin changes no correction of it."""
    record = drawn_record(10).record
    whole = backtest(record, ORIGINS, until=ENDS, effort=QUICK)
    assert whole.recalibration.ranks >= LEAST_RANKS
    first = whole.forecasts.of(whole.forecasts.origin == whole.origins[0])
    np.testing.assert_array_equal(first.corrected.chance, first.laws["bend"].chance)
    cut = float(whole.origins[-2])
    early = backtest(record, ORIGINS[cut >= ORIGINS], until=cut + 0.4, effort=QUICK).forecasts
    same = whole.forecasts.of(whole.forecasts.origin == cut)
    known = early.of(early.origin == cut)
    _, one, other = np.intersect1d(known.pack, same.pack, return_indices=True)
    np.testing.assert_array_equal(known.corrected.chance[:, one], same.corrected.chance[:, other])


def test_the_next_test_is_the_first_after_the_origin() -> None:
    """Its age and whether it showed below; a test at 0.79 cannot tell."""
    tests = FadeTests.of(
        [0, 0, 0, 1, 1, *range(3, 9)], [0.5, 1.5, 2.5, 0.5, 2.0, *[0.4] * 6], [0.98, 0.9, 0.7, 0.98, 0.93, *[0.97] * 6]
    )
    old = small().packs
    spare = BacktestPacks(
        fitted=np.zeros(9),
        removed=np.append(old.removed, np.full(6, np.nan)),
        worn=np.append(old.worn, np.zeros(6, dtype=bool)),
        entry_age=np.zeros(9),
        group=np.append(old.group, ["c"] * 6),
    )
    found = backtest(Record(tests, spare, LEVEL), np.array([1.6]), until=3.0, effort=QUICK).forecasts
    at = {
        int(pack): (age, bool(below))
        for pack, age, below in zip(found.pack, found.next_age, found.next_below, strict=True)
    }
    assert at == {0: (2.5, True), 1: (2.0, False)}
    marginal = replace(tests, fraction=np.where(tests.fraction == 0.7, 0.79, tests.fraction))
    near = backtest(Record(marginal, spare, LEVEL), np.array([1.6]), until=3.0, effort=QUICK).forecasts
    assert np.isnan(near.next_age[near.pack == 0]).all()


def test_too_little_known_is_left_out_and_progress_is_told() -> None:
    """Fewer than eight tests before an origin: no forecast from it, no error, and every origin is counted."""
    heard: list[tuple[int, int]] = []
    result = backtest(small(), np.array([1.0, 2.0]), until=3.0, progress=lambda *told: heard.append(told))
    assert len(result.forecasts) == 0
    assert len(result.origins) == 0
    assert result.recalibration.ranks == 0
    assert heard == [(0, 2), (1, 2)]
