"""Ways to forecast when packs cross the level, each from the same tests and each as the same kind of law.

`own_line` and `pooled_line` are what a spreadsheet gives, `mixed_line` is the usual mixed model, `bend` is this
project's (`bend`). A way sees what was known at one date and nothing else.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.bend.fit import fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out, removal_level, rough_life
from fleet.core.battery.bend.outlook import crossing_ages
from fleet.core.battery.bend.parameters import assumed_prior
from fleet.core.battery.crossing import LineCrossing, crossing_quantile
from fleet.core.battery.fade import fit_fade, pack_posterior, pack_sums
from fleet.core.battery.scores import PROBABILITIES, CrossingLaws
from fleet.core.errors import NotEnoughDataError

# Nothing is asked beyond so many lives after a pack's last test.
HORIZON_LIVES = 4.0
_LEAST_FADE = 1e-6
_LEAST_POINTS = 2


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of P packs at one date.

    `tests` made by then. `age` (P,): years, then or when taken out. `entry_age` (P,): at which each came into the
    record. `worn` (P,): taken out as worn by then. `level`: the replacement level.
    """

    tests: FadeTests
    age: FloatArray
    entry_age: FloatArray
    worn: BoolArray
    level: float
    histories: Histories = field(init=False)

    def __post_init__(self) -> None:
        """Lay the tests out, with what the worn packs say of the level at which packs are taken out."""
        last = last_values(self.tests, len(self.age))
        gone = self.worn & np.isfinite(last)
        level, sd = removal_level(last[gone], self.level)
        packs, entry = len(self.age), self.entry_age
        laid_out = lay_out(self.tests, packs, entry_age=entry, entry_level=level, entry_level_sd=sd)
        object.__setattr__(self, "histories", laid_out)

    @property
    def horizon(self) -> float:
        """Return for how many years after its last event a pack is looked at."""
        return HORIZON_LIVES * rough_life(self.histories)

    @property
    def values(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return pack, age and fraction of the plain tests that ran flat."""
        plain = is_value(self.tests)
        return self.tests.pack[plain], self.tests.age_years[plain], self.tests.fraction[plain]


@dataclass(frozen=True)
class Effort:
    """How much work a backtest may be.

    Sets of numbers drawn; packs of a type that the bend model is fitted on; packs forecast from one origin, picked by
    chance where there are more; and the seed.
    """

    draws: int = 16
    most_packs: int = 200
    most_asked: int = 1000
    seed: int = 1


Way = Callable[[Known, IntArray, Effort], CrossingLaws]


def is_value(tests: FadeTests) -> BoolArray:
    """Return which tests (N,) are plain ones that ran flat."""
    return np.asarray(~tests.bound & (tests.kind == 0))


def last_values(tests: FadeTests, packs: int) -> FloatArray:
    """Return the fraction (packs,) that each pack's latest plain test showed, nan without one."""
    rows = np.flatnonzero(is_value(tests))
    rows = rows[np.lexsort((tests.age_years[rows], tests.pack[rows]))]
    last = np.full(packs, np.nan)
    last[tests.pack[rows]] = tests.fraction[rows]
    return last


def bend(known: Known, asked: IntArray, effort: Effort) -> CrossingLaws:
    """Return the laws of the packs `asked` (rising rows) by the bend model, its numbers drawn."""
    histories = known.histories
    prior = assumed_prior(rough_life(histories))
    fit = fit_fade_numbers(histories, prior, draws=effort.draws, seed=effort.seed, most_packs=effort.most_packs)
    mine = histories.chosen(np.isin(histories.row, asked))
    mine = replace(mine, row=np.searchsorted(asked, mine.row))
    ages = crossing_ages(mine, fit.drawn_numbers(), known.level, PROBABILITIES, known.horizon)
    return _laws(ages, known, asked)


def mixed_line(known: Known, asked: IntArray, _effort: Effort) -> CrossingLaws:
    """Return the laws by a straight line with random intercept and slope, REML estimates plugged in (see `fade`).

    Where too little is known to estimate it, the laws of `pooled_line`.
    """
    pack, age, fraction = known.values
    try:
        population = fit_fade(pack, age, fraction)
    except NotEnoughDataError:
        return pooled_line(known, asked, _effort)
    sums = pack_sums(pack, age, fraction, packs=len(known.age))
    law = LineCrossing(pack_posterior(population, sums).of(asked), known.level, known.age[asked])
    latest = known.age[asked] + known.horizon
    ages = np.stack([crossing_quantile(law, float(each), latest) for each in PROBABILITIES])
    return _laws(ages, known, asked)


def pooled_line(known: Known, asked: IntArray, _effort: Effort) -> CrossingLaws:
    """Return the laws by one least-squares line through all tests of the type, its residual scatter about it.

    P(T <= t) = Phi((D - a + b t) / s), the same for all packs, but never before a pack's last test.
    """
    _, age, fraction = known.values
    start, fade = _line_through(age, fraction)
    freedom = max(len(age) - _LEAST_POINTS, 1)
    scatter = float(np.sqrt(np.sum((fraction - start + fade * age) ** 2) / freedom))
    ages = (start - known.level + scatter * special.ndtri(PROBABILITIES)) / fade
    return _not_before_last_test(np.repeat(ages[:, None], len(asked), axis=1), known, asked)


def own_line(known: Known, asked: IntArray, _effort: Effort) -> CrossingLaws:
    """Return the crossing of the least-squares line through each pack's own tests, without an interval.

    A pack with tests at one age only, or whose line does not fall, gets a line from 1 at the fade of all tests.
    """
    pack, age, fraction = known.values
    packs = len(known.age)

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(pack, weights=values, minlength=packs), dtype=np.float64)

    count = np.maximum(np.bincount(pack, minlength=packs), 1)
    age_mean, mean = total(age) / count, total(fraction) / count
    square, shared = total((age - age_mean[pack]) ** 2), total((age - age_mean[pack]) * (fraction - mean[pack]))
    fade = np.where(square > _LEAST_FADE, -shared / np.maximum(square, _LEAST_FADE), 0.0)
    falls = fade > _LEAST_FADE
    usual = _fade_from_one(age, fraction)
    start, fade = np.where(falls, mean + fade * age_mean, 1.0), np.where(falls, fade, usual)
    ages = np.repeat(((start - known.level) / fade)[None, asked], len(PROBABILITIES), axis=0)
    return _not_before_last_test(ages, known, asked)


def _line_through(age: FloatArray, fraction: FloatArray) -> tuple[float, float]:
    """Return start and fade of the least-squares line; from 1 where all tests are of one age, or it does not fall."""
    centred = age - age.mean()
    square = float(centred @ centred)
    fade = -float(centred @ fraction) / square if square > _LEAST_FADE else 0.0
    if fade <= _LEAST_FADE:
        return 1.0, _fade_from_one(age, fraction)
    return float(fraction.mean() + fade * age.mean()), fade


def _fade_from_one(age: FloatArray, fraction: FloatArray) -> float:
    square = max(float(age @ age), _LEAST_FADE)
    return max(float(age @ (1 - fraction)) / square, _LEAST_FADE)


def _not_before_last_test(ages: FloatArray, known: Known, asked: IntArray) -> CrossingLaws:
    """Whoever draws a line sees that the pack was above at its last test."""
    last = np.zeros(len(known.age))
    pack, age, _ = known.values
    np.maximum.at(last, pack, age)
    return _laws(np.maximum(ages, last[asked]), known, asked)


def _laws(ages: FloatArray, known: Known, asked: IntArray) -> CrossingLaws:
    return CrossingLaws.of_quantiles(ages, PROBABILITIES, known.age[asked] + known.horizon)


#: Every way by its name, this project's first; those without an interval by name in POINTS.
WAYS: dict[str, Way] = {"bend": bend, "mixed": mixed_line, "pooled": pooled_line, "own": own_line}
POINTS = frozenset({"own"})
