"""Ways to a forecast, each as quantiles (PROBABILITIES, P) of the crossing age in years."""

import warnings
from collections.abc import Callable

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from benchmarks.forecast.cells import LEVEL, Fleet
from benchmarks.forecast.scores import PROBABILITIES
from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.fit import fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out, removal_level, rough_life
from fleet.core.battery.bend.outlook import crossing_ages
from fleet.core.battery.bend.parameters import assumed_prior
from fleet.core.battery.crossing import LineCrossing, crossing_quantile
from fleet.core.battery.fade import FadePopulation, PackSums, pack_posterior, pack_sums
from fleet.core.battery.outliers import OutlierRules, fit_fade_robustly

HORIZON_LIVES = 4.0
Way = Callable[[Fleet], FloatArray]


def bending(fleet: Fleet) -> FloatArray:
    """The model of `fleet.core.battery.bend`."""
    histories = histories_of(fleet)
    fit = fit_fade_numbers(histories, assumed_prior(rough_life(histories)))
    return crossing_ages(histories, fit.drawn_numbers(), LEVEL, PROBABILITIES, HORIZON_LIVES * fleet.life)


def histories_of(fleet: Fleet) -> Histories:
    """Return the fleet's histories, with what its removed packs say of the level at which they go."""
    tests = FadeTests.of(fleet.pack, fleet.age, fleet.fraction, fleet.bound)
    pack, age, fraction = _values(fleet)
    rows = np.lexsort((age, pack))
    last = rows[np.append(pack[rows][1:] != pack[rows][:-1], True)]
    gone = fleet.removed[pack[last]] if fleet.removed is not None else np.zeros(len(last), dtype=np.bool_)
    level, sd = removal_level(fraction[last][gone], LEVEL)
    return lay_out(tests, len(fleet.today), entry_age=fleet.entry, entry_level=level, entry_level_sd=sd)


def pooled_line(fleet: Fleet) -> FloatArray:
    """The existing pooled straight line, spread and noise plugged in."""
    columns = _values(fleet)
    rules = OutlierRules()
    fitted = fit_fade_robustly(*columns, rules)
    kept = ~(fitted.too_high | fitted.too_low)
    sums = pack_sums(*(each[kept] for each in columns), packs=len(fleet.today))
    return _line_quantiles(fleet, fitted.population, sums)


def mixed_lm(fleet: Fleet) -> FloatArray:
    """The MixedLM of statsmodels by REML: every test taken as good, its estimates plugged in."""
    pack, age, fraction = _values(fleet)
    design = np.column_stack([np.ones(len(age)), -age])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a spread at the edge of what is allowed is its usual answer here
        found = MixedLM(fraction, design, groups=pack, exog_re=design).fit(reml=True)
    population = FadePopulation(
        mean=found.fe_params,
        spread=np.asarray(found.cov_re),
        noise_variance=float(found.scale),
        mean_covariance=np.asarray(found.cov_params())[:2, :2],
        log_likelihood=float(found.llf),
        packs=len(np.unique(pack)),
        tests=len(pack),
        method="reml",
    )
    return _line_quantiles(fleet, population, pack_sums(pack, age, fraction, packs=len(fleet.today)))


def own_line(fleet: Fleet) -> FloatArray:
    """A least-squares line through each pack's own tests, as a spreadsheet gives; no interval.

    A pack with one test, or whose line does not fall, gets the line from 1 at the fade of all tests together.
    """
    tested, age, fraction = _values(fleet)
    count = np.bincount(tested, minlength=len(fleet.today))
    fade = float(np.sum(age * (1 - fraction)) / np.sum(age**2))
    start, slope = np.ones(len(count)), np.full(len(count), max(fade, 1e-6))
    for pack in np.flatnonzero(count > 1):
        rows = tested == pack
        if np.ptp(age[rows]) > 0:
            falling, at_new = np.polyfit(age[rows], fraction[rows], 1)
            if falling < 0:
                start[pack], slope[pack] = at_new, -falling
    return np.tile(np.maximum((start - LEVEL) / slope, 0.0), (len(PROBABILITIES), 1))


def _values(fleet: Fleet) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return pack, age and fraction of the tests that ran flat."""
    value = ~fleet.bound if fleet.bound is not None else np.ones(len(fleet.pack), dtype=np.bool_)
    return fleet.pack[value], fleet.age[value], fleet.fraction[value]


def _line_quantiles(fleet: Fleet, population: FadePopulation, sums: PackSums) -> FloatArray:
    law = LineCrossing(pack_posterior(population, sums), LEVEL, fleet.today)
    horizon = np.full(len(fleet.today), HORIZON_LIVES * fleet.life)
    return np.stack([crossing_quantile(law, float(p), horizon) for p in PROBABILITIES])


WAYS: dict[str, Way] = {"own line": own_line, "MixedLM": mixed_lm, "pooled line": pooled_line, "bending": bending}
