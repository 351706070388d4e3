"""Scores of laws of crossing times, against closed forms and against censored truths of which the truth is known."""

import numpy as np
import pytest
from scipy import stats

from fleet.core.battery.scores import (
    CELLS,
    PROBABILITIES,
    CrossingLaws,
    Truths,
    crps,
    interval_score,
    rank_shares,
    ranks,
    reliability,
    score,
)
from fleet.core.errors import NotEnoughDataError

# 4000 even points of a distribution function stand for all of it to 1e-6.
FINE = (np.arange(4000) + 0.5) / 4000
# CRPS of N(m, s) at y: s {z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi)}; digits agreed by two reference libraries.
NORMAL_CRPS = [
    (0, 0, 1, 0.2336949773),
    (1, 0, 1, 0.6024413576),
    (3.2, 2.5, 0.8, 0.4168345966),
    (-1.5, 0.3, 2, 1.0733453813),
]
NEVER = np.array([np.inf])


def law_of(distribution: stats.rv_continuous, at: np.ndarray = FINE) -> CrossingLaws:
    """A frozen distribution as the law of one crossing."""
    return CrossingLaws.of_quantiles(distribution.ppf(at)[:, None], at, NEVER)


@pytest.mark.parametrize(("truth", "mean", "sd", "expected"), NORMAL_CRPS)
def test_the_crps_of_a_normal_law_is_its_closed_form(truth: float, mean: float, sd: float, expected: float) -> None:
    """From fine quantiles and from a distribution function on a grid to 1e-6; from the usual few to 0.001."""
    at, grid = np.array([float(truth)]), np.linspace(mean - 10 * sd, mean + 10 * sd, 4001)
    on_a_grid = CrossingLaws(grid[:, None], stats.norm(mean, sd).cdf(grid)[:, None])
    assert crps(law_of(stats.norm(mean, sd)), at, at)[0] == pytest.approx(expected, abs=1e-6)
    assert crps(on_a_grid, at, at)[0] == pytest.approx(expected, abs=1e-6)
    assert crps(law_of(stats.norm(mean, sd), PROBABILITIES), at, at)[0] == pytest.approx(expected, abs=1e-3)


def test_the_crps_of_a_lognormal_law_is_its_closed_form() -> None:
    """Lognormal with log mean 0.5 and log SD 0.4, at 2: the digits of two reference libraries."""
    at = np.array([2.0])
    assert crps(law_of(stats.lognorm(0.4, scale=np.exp(0.5))), at, at)[0] == pytest.approx(0.2259094572, abs=1e-6)


def test_the_crps_of_a_single_date_is_how_far_it_was_off() -> None:
    """A law without spread scores its distance from the truth, and nothing anywhere inside a known range."""
    law = CrossingLaws.of_quantiles(np.full((len(PROBABILITIES), 1), 3.0), PROBABILITIES, NEVER)
    assert crps(law, np.array([5.0]), np.array([5.0]))[0] == pytest.approx(2.0)
    assert crps(law, np.array([1.0]), np.array([1.0]))[0] == pytest.approx(2.0)
    assert crps(law, np.array([2.0]), np.array([4.0]))[0] == 0
    assert crps(law, np.array([3.5]), NEVER)[0] == pytest.approx(0.5)


def test_a_wider_range_of_the_truth_never_costs_more() -> None:
    """The score integrates only where the truth is known: less known, less scored."""
    law, at = law_of(stats.norm(5, 1)), np.array([4.2])
    known = crps(law, at, at)[0]
    between = crps(law, at - 0.3, at + 0.5)[0]
    censored = crps(law, at - 0.3, NEVER)[0]
    assert known > between > censored > 0


def test_the_interval_score_of_the_reference() -> None:
    """(u - l) + 2/a (y - u): 3.5 over an interval of 1 to 3 meant to hold nine in ten is 12; inside, its width."""
    low, high = np.array([1.0]), np.array([3.0])
    assert interval_score(low, high, np.array([3.5]), 0.1)[0] == pytest.approx(12.0)
    assert interval_score(low, high, np.array([0.5]), 0.1)[0] == pytest.approx(12.0)
    assert interval_score(low, high, np.array([2.0]), 0.1)[0] == pytest.approx(2.0)


def test_chances_and_quantiles_undo_each_other() -> None:
    """The chance by the quantile of p is p; nothing has crossed before the first age, all has by infinity."""
    law = law_of(stats.norm(5, 1), PROBABILITIES)
    for p in (0.02, 0.1, 0.37, 0.9):
        assert law.chance_by(law.quantile(p))[0] == pytest.approx(p)
    assert law.chance_by(np.array([-9.0]))[0] == 0
    assert law.chance_by(NEVER)[0] == 1


def test_even_ranks_are_found_even_although_half_are_censored() -> None:
    """Leaving the censored out would put 64 % of ranks under 0.4; with what they tell 40 % are found."""
    rng = np.random.default_rng(3)
    rank, seen_until = rng.uniform(size=4000), rng.uniform(size=4000)
    known = rank <= seen_until
    low, high = np.where(known, rank, seen_until), np.where(known, rank, 1.0)
    assert np.mean(rank[known] < 0.4) > 0.6
    assert np.abs(rank_shares(low, high) - CELLS).max() < 0.04


def test_ranks_that_crowd_at_the_ends_are_found_there() -> None:
    """Too narrow laws give U-shaped ranks: their intervals hold less than they say."""
    rng = np.random.default_rng(4)
    truth = rng.normal(0.0, 1.0, 2000)
    narrow = CrossingLaws.of_quantiles(
        np.repeat(stats.norm(0, 0.5).ppf(PROBABILITIES)[:, None], 2000, axis=1), PROBABILITIES, np.full(2000, np.inf)
    )
    found = score(narrow, Truths(truth, truth, np.arange(2000)))
    expected = 1 - 2 * stats.norm.sf(0.5 * stats.norm.ppf(0.9))
    assert found.within_80 == pytest.approx(expected, abs=0.03)
    assert found.early == pytest.approx(stats.norm.cdf(0.5 * stats.norm.ppf(0.05)), abs=0.03)


def test_a_right_law_is_scored_as_it_is() -> None:
    """Known to the day: coverage as said, the middle right on average, life given away as the law says."""
    rng = np.random.default_rng(5)
    truth = rng.normal(5.0, 1.0, 4000)
    quantiles = np.repeat(stats.norm(5, 1).ppf(PROBABILITIES)[:, None], 4000, axis=1)
    law = CrossingLaws.of_quantiles(quantiles, PROBABILITIES, np.full(4000, np.inf))
    found = score(law, Truths(truth, truth, np.repeat(np.arange(2000), 2)))
    assert found.within_50 == pytest.approx(0.5, abs=0.03)
    assert found.within_95 == pytest.approx(0.95, abs=0.02)
    assert found.early == pytest.approx(0.05, abs=0.015)
    assert found.failed == pytest.approx(0.1, abs=0.02)
    assert found.off == pytest.approx(0.0, abs=0.6)
    assert found.crps == pytest.approx(12 / np.sqrt(np.pi), rel=0.03)
    assert found.wasted == pytest.approx(12 * stats.norm().expect(lambda z: max(z + 1.2816, 0)), rel=0.03)
    assert (found.forecasts, found.packs, found.known) == (4000, 2000, 2000)


def test_the_rank_of_a_censored_truth_reaches_to_one() -> None:
    """A pack last seen above at c has its rank between F(c) and 1."""
    low, high = ranks(law_of(stats.norm(5, 1)), np.array([5.0]), NEVER)
    assert low[0] == pytest.approx(0.5, abs=1e-3)
    assert high[0] == 1


def test_nothing_to_score_is_said() -> None:
    """Without forecasts there is no score, not one of nought."""
    none = CrossingLaws(np.zeros((len(PROBABILITIES), 0)), np.zeros((len(PROBABILITIES), 0)))
    with pytest.raises(NotEnoughDataError, match="no forecasts"):
        score(none, Truths(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64)))


def test_bins_hold_what_was_said_and_how_often_it_came_true() -> None:
    """Ten at 0.3 of which three came: one bin, and a range that holds 0.3 (Clopper and Pearson: 0.087 to 0.607)."""
    (only,) = reliability(np.full(10, 0.3), np.arange(10) < 3)
    assert (only.packs, only.came, only.low, only.high) == (10, 3, 0.2, 0.35)
    assert only.said == pytest.approx(0.3)
    assert (only.least, only.most) == (pytest.approx(0.0873, abs=1e-4), pytest.approx(0.6066, abs=1e-4))
    all_came, none_came = reliability(np.array([1.0, 0.0]), np.array([True, False]))[::-1]
    assert all_came.most == 1
    assert none_came.least == 0
