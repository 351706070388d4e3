"""Demand quantiles against exact convolution and a closed form.

Sources: the Poisson-binomial law is the convolution of its slots' laws, and the binomial law where all chances are
equal (Y. Hong, Computational Statistics and Data Analysis 59 (2013) 41-51, from memory); scipy's binomial is the
reference. Lives that are geometric renew as Bernoulli trials, so that needs until month m are binomial (any textbook on
renewal processes).
"""

import functools

import numpy as np
import pytest
from scipy import stats

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.counts import CountLaw
from fleet.core.battery.demand import demand

CHANCES = [0.01, 0.1, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99]


def one_month(chance: FloatArray) -> CountLaw:
    """The law of the number needed in one month by packs that cross in it with the chances given."""
    own = np.stack([np.zeros_like(chance), chance])[:, None]
    return demand(own, np.zeros((1, 2))).monthly[0]


@pytest.mark.parametrize("packs", [12, 100, 500])
def test_unequal_chances_give_the_exact_convolution(packs: int) -> None:
    """Each chance of the count is that of convolving the slots one by one, to 1e-9, and so is every quantile."""
    chance = np.random.default_rng(packs).beta(0.5, 2.0, packs)
    exact = functools.reduce(np.convolve, np.stack([1 - chance, chance], axis=1))
    got = one_month(chance)
    inside = exact[got.first : got.first + len(got.chance)]
    assert got.chance == pytest.approx(inside, abs=1e-9)
    assert got.quantiles(np.array(CHANCES)).tolist() == np.searchsorted(np.cumsum(exact), CHANCES).tolist()


@pytest.mark.parametrize("packs", [600, 3000])
def test_large_types_are_within_two_thousandths_of_exact(packs: int) -> None:
    """The grouped packs of a large type: the law is off by less than .002 anywhere."""
    chance = np.random.default_rng(packs).beta(0.5, 2.0, packs)
    exact = np.cumsum(functools.reduce(np.convolve, np.stack([1 - chance, chance], axis=1)))
    got = one_month(chance)
    assert np.abs([got.cdf(n) - exact[n] for n in range(packs)]).max() < 0.002


@pytest.mark.parametrize(("packs", "chance"), [(40, 0.03), (500, 0.5), (5000, 0.001), (5000, 0.31)])
def test_equal_chances_give_the_binomial_law(packs: int, chance: float) -> None:
    """Quantiles equal scipy's binomial."""
    got = one_month(np.full(packs, chance))
    assert got.quantiles(np.array(CHANCES)).tolist() == stats.binom.ppf(CHANCES, packs, chance).tolist()


def test_geometric_lives_give_the_binomial_law_over_time() -> None:
    """Packs that cross in any month with chance .04, whatever their age: 25 slots need Binomial(25 m, .04)."""
    crossed = 1 - 0.96 ** np.arange(19)
    got = demand(np.repeat(crossed[:, None, None], 25, axis=2), crossed[None])
    for month in (1, 7, 18):
        exact = stats.binom(25 * month, 0.04)
        law = got.total[month - 1]
        assert law.chance == pytest.approx(exact.pmf(law.first + np.arange(len(law.chance))), abs=1e-8)
