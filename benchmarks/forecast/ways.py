"""Ways to a forecast, each as quantiles (PROBABILITIES, P) of the crossing age in years."""

import warnings
from collections.abc import Callable

import numpy as np
from scipy import special

from benchmarks.forecast.cells import LEVEL, Fleet
from benchmarks.forecast.scores import PROBABILITIES
from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.fit import fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, lay_out, rough_life
from fleet.core.battery.bend.outlook import outlook
from fleet.core.battery.bend.parameters import assumed_prior
from fleet.core.battery.crossing import LineCrossing, crossing_quantile
from fleet.core.battery.fade import pack_posterior, pack_sums
from fleet.core.battery.outliers import OutlierRules, fit_fade_robustly

HORIZON_LIVES = 4.0
Way = Callable[[Fleet], FloatArray]


def bending(fleet: Fleet) -> FloatArray:
    """The model of `fleet.core.battery.bend`."""
    tests = FadeTests.of(fleet.pack, fleet.age, fleet.fraction, fleet.bound)
    histories = lay_out(tests, len(fleet.today), entry_age=fleet.entry, entry_level=LEVEL)
    fit = fit_fade_numbers(histories, assumed_prior(rough_life(histories)))
    law = outlook(histories, fit.drawn_numbers(), LEVEL)
    horizon = np.full(len(fleet.today), HORIZON_LIVES * fleet.life)
    return np.stack([law.crossing_age(float(p), horizon) for p in PROBABILITIES])


def pooled_line(fleet: Fleet) -> FloatArray:
    """The existing pooled straight line, spread and noise plugged in."""
    value = ~fleet.bound if fleet.bound is not None else np.ones(len(fleet.pack), dtype=np.bool_)
    columns = fleet.pack[value], fleet.age[value], fleet.fraction[value]
    rules = OutlierRules()
    fitted = fit_fade_robustly(*columns, rules)
    kept = ~(fitted.too_high | fitted.too_low)
    population = fitted.population
    sums = pack_sums(*(each[kept] for each in columns), packs=len(fleet.today))
    law = LineCrossing(pack_posterior(population, sums), LEVEL, fleet.today)
    horizon = np.full(len(fleet.today), HORIZON_LIVES * fleet.life)
    return np.stack([crossing_quantile(law, float(p), horizon) for p in PROBABILITIES])


def _fixed(fleet):
    import numpy as np
    from dataclasses import replace
    tests = FadeTests.of(fleet.pack, fleet.age, fleet.fraction, fleet.bound)
    histories = lay_out(tests, len(fleet.today), entry_age=fleet.entry, entry_level=LEVEL)
    p=assumed_prior(rough_life(histories)); sd=p.sd.copy(); sd[9]=.01; p.mean[9]=-5
    fit = fit_fade_numbers(histories, replace(p,sd=sd))
    law = outlook(histories, fit.drawn_numbers(), LEVEL)
    horizon = np.full(len(fleet.today), HORIZON_LIVES * fleet.life)
    return np.stack([law.crossing_age(float(p), horizon) for p in PROBABILITIES])
