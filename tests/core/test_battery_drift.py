"""Alarms: recent tests that come out otherwise than forecast, and people, racks or batches that differ."""

import numpy as np
import pytest
from scipy import stats

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.doubt import doubts
from fleet.core.battery.bend.fit import FadeFit
from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.drift import bias, drift
from fleet.core.battery.forecast import forecast
from fleet.core.errors import BadValueError
from tests.core.battery_cases import LEVEL, MEAN, NOISE_SD, SPREAD, columns, drawn_type


@pytest.mark.parametrize(("outside", "tests", "gross"), [(0, 10, 0.0), (3, 10, 0.0), (9, 20, 0.04), (20, 20, 0.04)])
def test_the_chance_is_that_of_the_exact_binomial_test(outside: int, tests: int, gross: float) -> None:
    """As scipy's one-sided binomial test gives it."""
    z = np.append(np.full(outside, -2.0), np.zeros(tests - outside))
    found = drift(z, np.ones(tests, dtype=np.bool_), gross=gross)
    share = 0.2 * (1 - gross) + gross
    assert found.p_value == pytest.approx(stats.binomtest(outside, tests, share, alternative="greater").pvalue)
    assert (found.outside, found.low, found.expected) == (outside, outside, pytest.approx(share * tests))


def test_only_recent_tests_with_a_prediction_count() -> None:
    """Old tests, and tests without a z, are not looked at; none at all is no alarm."""
    z = np.array([5.0, 5.0, np.nan, 0.0, 1.5])
    found = drift(z, np.array([False, False, True, True, True]))
    assert (found.tests, found.outside, found.low) == (2, 1, 0)
    assert not drift(z, np.zeros(5, dtype=np.bool_)).alarm


def test_columns_of_unequal_length_are_refused() -> None:
    """Each z needs its mark, and each its label."""
    with pytest.raises(BadValueError, match="recent has 1 rows and z has 2"):
        drift(np.zeros(2), np.zeros(1, dtype=np.bool_))
    with pytest.raises(BadValueError, match="group has 1 rows and z has 2"):
        bias(np.zeros(2), ["a"])


@pytest.fixture(scope="module")
def fit() -> FadeFit:
    """The numbers of a sound type."""
    case = drawn_type(3, packs=200)
    return forecast(case.tests, case.packs, level=LEVEL).fit


def recent_lot(seed: int, fit: FadeFit, *, faster: float = 1.0) -> tuple[FloatArray, FadeTests]:
    """Give the z of one recent test of each of 25 packs, two years old, which fade so many times as fast."""
    rng = np.random.default_rng(seed)
    truth = rng.multivariate_normal(MEAN * [1, faster], SPREAD, 25)
    value = truth[:, 0] - 2 * truth[:, 1] + rng.normal(0, NOISE_SD, 25)
    tests = columns(np.arange(25), np.full(25, 2.0), value)
    found = forecast(tests, drawn_type(0, packs=25).packs, level=LEVEL, fit=fit)
    return doubts(tests, found.histories, fit.numbers()).surprise, tests


def test_a_sound_fleet_is_seldom_alarmed(fit: FadeFit) -> None:
    """Of 200 sound lots of 25 recent tests at most 4 in 100 raise an alarm."""
    alarms = [drift(recent_lot(seed, fit)[0], np.ones(25, dtype=np.bool_)).alarm for seed in range(200)]
    assert np.mean(alarms) <= 0.04


def test_a_batch_that_fades_twice_as_fast_is_found(fit: FadeFit) -> None:
    """Of 50 such batches nearly all raise the alarm, and what lies outside lies low."""
    found = [drift(recent_lot(seed, fit, faster=2.0)[0], np.ones(25, dtype=np.bool_)) for seed in range(50)]
    assert np.mean([each.alarm for each in found]) > 0.9
    assert np.mean([each.low / max(each.outside, 1) for each in found]) > 0.9


def test_groups_without_a_difference_are_seldom_alarmed() -> None:
    """Of 400 fleets with eight technicians each, at most 3 in 100 have one who is called out."""
    rng = np.random.default_rng(5)
    labels = np.repeat([f"T{number}" for number in range(8)], 15)
    assert np.mean([any(each.alarm for each in bias(rng.normal(size=120), labels)) for _ in range(400)]) <= 0.03


def test_the_one_who_reads_low_is_named() -> None:
    """A technician whose tests come out one and a half deviations low is called out, and nobody else is."""
    rng = np.random.default_rng(6)
    labels = np.repeat([f"T{number}" for number in range(8)], 15)
    found = bias(rng.normal(size=120) - 1.5 * (labels == "T3"), labels)
    assert [each.label for each in found if each.alarm] == ["T3"]
    assert {each.label: each.tests for each in found}["T3"] == 15


def test_one_gross_error_does_not_speak_for_its_group() -> None:
    """One test that is off by thirty deviations among six ordinary ones raises no alarm."""
    z = np.append(np.tile([-1.0, 1.0], 20), [-30.0])
    labels = ["a"] * 35 + ["b"] * 6
    assert not any(each.alarm for each in bias(z, labels))


def test_small_and_single_groups_are_not_judged() -> None:
    """Fewer than five tests say nothing of a group, and one group alone has nothing to be compared with."""
    assert [each.label for each in bias(np.zeros(14), ["a"] * 10 + ["b"] * 4)] == ["a"]
    assert bias(np.zeros(10), ["a"] * 10) == []
    assert bias(np.full(10, np.nan), ["a"] * 5 + ["b"] * 5) == []
    assert [each.label for each in bias(np.zeros(10), ["a"] * 5 + [""] * 5)] == ["a"]


def test_equal_results_everywhere_are_no_alarm() -> None:
    """Groups that read exactly alike don't differ."""
    assert not any(each.alarm for each in bias(np.full(12, 0.3), ["a"] * 6 + ["b"] * 6))
