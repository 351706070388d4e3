"""Scores of forecasts against closed forms and a reference program.

CRPS of N(m, s): s (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi)), T. Gneiting, A. E. Raftery, JASA 102 (2007) 359 (from
memory); the values written out were computed with scoringrules and properscoring, which agree. scoringrules 0.10 and
0.11 are called beside them.
"""

import numpy as np
import pytest
import scoringrules
from numpy.testing import assert_allclose
from scipy import special, stats

from fleet.core.battery.scores import PROBABILITIES, CrossingLaws, crps, interval_score, ranks

FINE = np.linspace(-9.0, 9.0, 18_001)[:, None]
NORMAL = [
    ((0.0, 0.0, 1.0), 0.2336949773),
    ((1.0, 0.0, 1.0), 0.6024413576),
    ((3.2, 2.5, 0.8), 0.4168345966),
    ((-1.5, 0.3, 2.0), 1.0733453813),
]


def normal(middle: float, sd: float) -> CrossingLaws:
    """The law N(middle, sd^2), at points close enough to be taken as smooth."""
    return CrossingLaws(middle + sd * FINE, special.ndtr(FINE))


@pytest.mark.parametrize(("case", "value"), NORMAL)
def test_crps_of_a_normal_law(case: tuple[float, float, float], value: float) -> None:
    """It is the closed form's value and the reference program's."""
    truth, middle, sd = case
    found = crps(normal(middle, sd), np.array([truth]), np.array([truth]))[0]
    assert found == pytest.approx(value, abs=1e-6)
    assert found == pytest.approx(float(scoringrules.crps_normal(truth, middle, sd)), abs=1e-6)


def test_crps_of_a_lognormal_law() -> None:
    """Truth 2 against a lognormal of (.5, .4) is .2259094572."""
    law = CrossingLaws(np.exp(0.5 + 0.4 * FINE), special.ndtr(FINE))
    found = crps(law, np.array([2.0]), np.array([2.0]))[0]
    assert found == pytest.approx(0.2259094572, abs=1e-6)
    assert found == pytest.approx(float(scoringrules.crps_lognormal(2.0, 0.5, 0.4)), abs=1e-6)


@pytest.mark.parametrize("truth", [-0.5, 0.0, 0.3, 1.0, 1.7])
def test_crps_of_a_straight_law_is_exact(truth: float) -> None:
    """Two points make a uniform law, whatever side of it the truth is on."""
    law = CrossingLaws(np.array([[0.0], [1.0]]), np.array([[0.0], [1.0]]))
    found = crps(law, np.array([truth]), np.array([truth]))[0]
    assert found == pytest.approx(float(scoringrules.crps_uniform(truth, 0.0, 1.0)), abs=1e-12)


@pytest.mark.parametrize("z", [-2.0, -0.7, 0.0, 1.1, 2.5])
def test_the_quantiles_that_ways_give_are_enough(z: float) -> None:
    """From quantiles at PROBABILITIES alone the CRPS of a normal law is right within 3 %."""
    ages = special.ndtri(PROBABILITIES)[:, None]
    found = crps(CrossingLaws.of_quantiles(ages, PROBABILITIES, np.array([9.0])), np.array([z]), np.array([z]))[0]
    assert found == pytest.approx(float(scoringrules.crps_normal(z, 0.0, 1.0)), rel=0.03)


@pytest.mark.parametrize("seen", [-1.0, 0.2, 1.5])
def test_crps_of_a_truth_that_is_only_known_to_be_later(seen: float) -> None:
    """What a law claimed before that time, squared: for N(0, 1) by quadrature."""
    grid = np.linspace(-9.0, seen, 200_001)
    expected = np.trapezoid(stats.norm.cdf(grid) ** 2, grid)
    assert crps(normal(0.0, 1.0), np.array([seen]), np.array([np.inf]))[0] == pytest.approx(expected, abs=1e-6)


def test_interval_score() -> None:
    """From 1 to 3 with the truth at 3.5 it is 12 at .1; with the truth inside only the width; so says the reference."""
    low, high, truth = np.array([1.0, 1.0, 1.0]), np.array([3.0, 3.0, 3.0]), np.array([3.5, 2.0, 0.8])
    found = interval_score(low, high, truth, 0.1)
    assert_allclose(found, [12.0, 2.0, 6.0])
    assert_allclose(found, scoringrules.interval_score(truth, low, high, 0.1))


def test_ranks_are_the_probability_integral_transform() -> None:
    """A known truth has one rank, one only known to be later than 1 lies in [F(1), 1], one in a range in [F, F]."""
    laws = CrossingLaws(np.tile(FINE, 3), np.tile(special.ndtr(FINE), 3))
    low, high = ranks(laws, np.array([0.5, 1.0, -1.0]), np.array([0.5, np.inf, 0.5]))
    assert_allclose(low, stats.norm.cdf([0.5, 1.0, -1.0]), atol=1e-7)
    assert_allclose(high, [stats.norm.cdf(0.5), 1.0, stats.norm.cdf(0.5)], atol=1e-7)
