"""Runtime tests that do not belong to their pack's and type's line, found by leaving each out.

Each test is predicted from its pack's other tests and its type, r = (y - prediction) / SD of the prediction. One
gross error swells the fitted spread, so r is judged against its own robust scale, 1.4826 x median |r| (the factor
makes it the standard deviation for a normal sample). A test is gross if |r| exceeds the cutoff on that scale AND it
misses by a practical amount; the worst one of each pack is set aside, the type is fitted again, and so on for a few
passes, because a wrong test makes its pack's other tests look wrong too.

Source: robust scale from the median absolute deviation, common practice (F. R. Hampel, "The influence curve and its
role in robust estimation", JASA 69 (1974) 383-393, from memory); the passes are an own choice, shown in the tests.
"""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.fade import FadePopulation, PackSums, fit_fade, pack_posterior, pack_sums

_NORMAL_SCALE = 1.4826


@dataclass(frozen=True)
class OutlierRules:
    """When a test is gross."""

    cutoff: float = 4.0
    """Robust standard deviations. A sound test exceeds 4 once in some 16,000."""
    least_miss: float = 0.10
    """Runtime fraction. A smaller miss cannot mislead much, and a table of near-equal tests has no scale."""
    passes: int = 3
    """A pack can have this many wrong tests found, one in each pass."""


@dataclass(frozen=True, eq=False)
class RobustFade:
    """The population fitted without the gross tests, and which (N,) were too high and too low."""

    population: FadePopulation
    too_high: BoolArray
    too_low: BoolArray


def fit_fade_robustly(pack: IntArray, age: FloatArray, fraction: FloatArray, rules: OutlierRules) -> RobustFade:
    """Fit the population of tests (N,): pack, age (years), fraction; gross ones set aside. Errors as `fit_fade`."""
    kept = np.ones(pack.shape, dtype=np.bool_)
    population = fit_fade(pack, age, fraction)
    miss = np.zeros(pack.shape)
    for _ in range(rules.passes):
        found, signed = _worst(pack[kept], age[kept], fraction[kept], population, rules)
        if not found.any():
            break
        rows = np.flatnonzero(kept)[found]
        kept[rows], miss[rows] = False, signed[found]
        population = fit_fade(pack[kept], age[kept], fraction[kept])
    return RobustFade(population, too_high=miss > 0, too_low=miss < 0)


def _worst(
    pack: IntArray, age: FloatArray, fraction: FloatArray, population: FadePopulation, rules: OutlierRules
) -> tuple[BoolArray, FloatArray]:
    """Return which tests are the worst gross one of their pack, and by how much each test misses."""
    posterior = pack_posterior(population, _sums_without_each(pack, age, fraction))
    miss = fraction - posterior.fraction_at(age)
    size = np.abs(miss) / np.sqrt(posterior.fraction_sd_at(age) ** 2 + population.noise_variance)
    gross = (size > rules.cutoff * _NORMAL_SCALE * np.median(size)) & (np.abs(miss) > rules.least_miss)
    largest = np.zeros(int(pack.max()) + 1)
    np.maximum.at(largest, pack, size)
    return gross & (size == largest[pack]), miss


def _sums_without_each(pack: IntArray, age: FloatArray, fraction: FloatArray) -> PackSums:
    """Return, for each test as if it were a pack, the sums over its pack's other tests."""
    rows = np.arange(len(pack))
    all_of = pack_sums(pack, age, fraction, packs=int(pack.max()) + 1)
    own = pack_sums(rows, age, fraction, packs=len(rows))
    return PackSums(
        all_of.count[pack] - own.count,
        all_of.design[pack] - own.design,
        all_of.response[pack] - own.response,
        all_of.square[pack] - own.square,
    )
