"""Crossing-time closed forms against values printed or computed elsewhere.

A line with mean start 1.02 and fade 0.05 a year, standard deviations 0.02 and 0.015, correlation of start and SLOPE
(minus the fade) -0.3, level 0.80: F(4) = .363464, F(6) = .823485; 5, 50 and 90 % at 2.9804, 4.4000, 6.9746. Source:
closed form of Meeker and Escobar, "Statistical Methods for Reliability Data" (1998), chapter 13, evaluated and checked
against Monte Carlo and quadrature with SciPy before this project was written. (6.9746 came labelled as the 95 % age;
(.05 t - .22) / sqrt(v(t)) is 1.2816 there, the 90 % point, and 1.6449 at 8.3946.)
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from fleet.core.battery.crossing import LineCrossing, chance_below_at, crossing_quantile
from fleet.core.battery.fade import FadePosterior
from fleet.core.battery.normal import bivariate_normal_cdf

LEVEL = 0.80


def one_pack() -> FadePosterior:
    """The line of the module's text; start and fade are correlated by +0.3, since fade is minus slope."""
    shared = 0.3 * 0.02 * 0.015
    return FadePosterior(mean=np.array([[1.02, 0.05]]), covariance=np.array([[[0.02**2, shared], [shared, 0.015**2]]]))


@pytest.mark.parametrize(("age", "chance"), [(4.0, 0.363464), (6.0, 0.823485)])
def test_chance_of_being_below_at_an_age(age: float, chance: float) -> None:
    """The closed form gives the published chances to all six digits."""
    assert_allclose(chance_below_at(one_pack(), LEVEL, np.array([age])), chance, atol=5e-7)


@pytest.mark.parametrize(("probability", "age"), [(0.05, 2.9804), (0.5, 4.4), (0.9, 6.9746), (0.95, 8.3946)])
def test_ages_at_which_it_crosses(probability: float, age: float) -> None:
    """The quantiles are the published ones to all four digits."""
    law = LineCrossing(one_pack(), LEVEL, age_today=np.array([0.0]))
    assert_allclose(crossing_quantile(law, probability, np.array([15.0])), age, atol=5e-5)


@pytest.mark.parametrize("correlation", [-0.999, -0.6, 0.0, 0.3, 0.95])
@pytest.mark.parametrize(("h", "k"), [(0.0, 0.0), (0.0, -1.2), (1.5, 0.0), (-0.4, 0.7), (-2.0, -1.0), (3.0, 2.0)])
def test_bivariate_normal_chances(h: float, k: float, correlation: float) -> None:
    """Owen's closed form equals SciPy's numerical integration of the bivariate normal density."""
    covariance = [[1.0, correlation], [correlation, 1.0]]
    expected = stats.multivariate_normal.cdf([h, k], cov=covariance)
    found = bivariate_normal_cdf(np.array([h]), np.array([k]), np.array([correlation]))
    assert_allclose(found, expected, atol=1e-9)
