"""The forecast of one device type's packs: what each carries today, when it crosses the level, and how sure that is.

What is done with tests that are not plain values:

* A test stopped early by hand is a lower bound, not a value, and is not fitted. Where the forecast gives a run as
  long as the bound less than `least_bound_chance`, the pack is marked `bound_contradicted`; its numbers stand
  unchanged and a page must show the mark beside them.
* A gross outlier is kept out of the type's fit and marked in `set_aside`, its pack in `has_set_aside`. It is also kept
  out of its own pack's forecast, unless it is too LOW and the pack's latest test: then the pack may have failed, and
  nothing later says otherwise.
* A pack's latest usable test under the level makes it `already_below`, whatever the model makes of it.
* No pack is forecast to recover: where a pack's expected fade is negative, today's fraction is the line's value at its
  last fitted test. A type whose mean fade is not positive gets no forecast.

Spread and noise are plugged in, so a small type's interval is too short: drawn from the model itself, the 80 % interval
held the true crossing for 63, 72, 76 and 78 % of packs in types of 8, 20, 60 and 200. A real fade that bends makes it
too late as well. Say beside the interval how many packs (`population.packs`) it rests on.

The model comes in by two things only, a `FadePosterior` and a `CrossingLaw` (see `crossing`): another model of fade
replaces these and leaves this page's readers alone. Forecasts inform; the maker's instructions and local policy decide.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import special

from fleet.core.battery.arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    column,
    first_bad,
    indices,
    mask,
    measured_column,
    same_length,
)
from fleet.core.battery.crossing import LineCrossing, chance_below_at, crossing_quantile
from fleet.core.battery.fade import FadePopulation, FadePosterior, pack_posterior, pack_sums
from fleet.core.battery.minimum import MinimumInformation
from fleet.core.battery.outliers import OutlierRules, RobustFade, fit_fade_robustly
from fleet.core.battery.runtime import fractions_meet_level
from fleet.core.errors import BadValueError, NotEnoughDataError

OWN_TESTS = "own tests"
TYPE_ONLY = "type only"


@dataclass(frozen=True)
class ForecastRules:
    """The choices a forecast rests on."""

    minimum: MinimumInformation = field(default_factory=MinimumInformation)
    outliers: OutlierRules = field(default_factory=OutlierRules)
    interval: float = 0.80
    """Chance that the crossing lies between the low and the high age."""
    horizon_years: float = 15.0
    """After today; a crossing later than that is given as infinity. Longer than a pack's or driver's service life."""
    least_bound_chance: float = 0.05
    """A test stopped early that ran longer than the forecast gives this chance contradicts it."""


@dataclass(frozen=True, eq=False)
class Packs:
    """All P packs of the type: `age_today` and `age_next_visit` (P,), years; the visit's is nan if none is planned.

    A visit that is late counts as today. Raises BadValueError for a negative or infinite age.
    """

    age_today: FloatArray
    age_next_visit: FloatArray

    def __post_init__(self) -> None:
        """Check the ages and keep them as float arrays."""
        object.__setattr__(self, "age_today", measured_column(self.age_today, "age_today"))
        object.__setattr__(self, "age_next_visit", column(self.age_next_visit, "age_next_visit"))
        same_length(age_today=self.age_today, age_next_visit=self.age_next_visit)
        bad = np.isinf(self.age_next_visit) | (self.age_next_visit < 0)
        first_bad(bad, self.age_next_visit, "age_next_visit", "it must be years of age, or nan if no visit is planned")

    def __len__(self) -> int:
        """Return P."""
        return len(self.age_today)


@dataclass(frozen=True, eq=False)
class RuntimeTests:
    """All N tests of the type's packs, as columns (N,).

    `pack`: row in Packs. `age_years` of the pack at the test. `fraction`: runtime fraction, for a test stopped early
    the fraction it had run. `usable`: ran flat after a full charge, a value. `stopped_early`: a lower bound. A test
    with neither (voided, short charge) is not looked at; one with both is refused. Raises BadValueError.
    """

    pack: IntArray
    age_years: FloatArray
    fraction: FloatArray
    usable: BoolArray
    stopped_early: BoolArray

    def __post_init__(self) -> None:
        """Check the columns and keep them as arrays of one kind each."""
        object.__setattr__(self, "pack", indices(self.pack, "pack", below=np.iinfo(np.int64).max))
        object.__setattr__(self, "age_years", measured_column(self.age_years, "age_years"))
        object.__setattr__(self, "fraction", measured_column(self.fraction, "fraction"))
        for name in ("usable", "stopped_early"):
            object.__setattr__(self, name, mask(getattr(self, name), name))
        columns = (self.age_years, self.fraction, self.usable, self.stopped_early)
        for name, values in zip(("age_years", "fraction", "usable", "stopped_early"), columns, strict=True):
            same_length(pack=self.pack, **{name: values})
        rule = "a test stopped early is a lower bound and cannot be usable as a value"
        first_bad(self.usable & self.stopped_early, self.usable, "usable", rule)


@dataclass(frozen=True, eq=False)
class TypeForecast:
    """One device type's forecast. Arrays are (P,), one row per pack, except `set_aside`; ages in years.

    `posterior`: each pack's line, for a plot of its course. `fraction_today`, `fraction_sd`: the true fraction,
    expected value and standard deviation. `crossing_*_age`: the age at which the level is passed, with the interval's
    ends; 0 means below it when new, infinity not within the horizon. `chance_below_today`; `chance_before_visit`: of
    having crossed by the next visit, never less than that of being below today, nan without a visit. `own_tests`:
    whether a test of the pack itself was used. `already_below`: expected below the level, or measured so at the latest
    usable test (`last_test_below`). `bound_contradicted`, `has_set_aside`: see the module's text. `set_aside` (N,):
    tests kept out of the fit, to be looked at by somebody.
    """

    population: FadePopulation
    posterior: FadePosterior
    fraction_today: FloatArray
    fraction_sd: FloatArray
    crossing_low_age: FloatArray
    crossing_median_age: FloatArray
    crossing_high_age: FloatArray
    chance_below_today: FloatArray
    chance_before_visit: FloatArray
    own_tests: BoolArray
    already_below: BoolArray
    last_test_below: BoolArray
    bound_contradicted: BoolArray
    has_set_aside: BoolArray
    set_aside: BoolArray

    @property
    def basis(self) -> NDArray[np.str_]:
        """Return "own tests" or "type only" for each pack."""
        return np.where(self.own_tests, OWN_TESTS, TYPE_ONLY)


def forecast(
    tests: RuntimeTests, packs: Packs, *, level: float = 0.80, rules: ForecastRules | None = None
) -> TypeForecast:
    """Forecast all packs of one device type against the replacement `level` (runtime fraction).

    Raises NotEnoughDataError, in words for a page, where the type's tests fall short of `rules.minimum` or show no
    fade; BadValueError for a level outside 0 to 1 or a test of a pack that is not in `packs`.
    """
    rules = rules or ForecastRules()
    _check(tests, packs, level)
    used = np.flatnonzero(tests.usable)
    fitted = _fit(tests, used, rules)
    own = used[~_ignored(tests, used, fitted)]
    sums = pack_sums(tests.pack[own], tests.age_years[own], tests.fraction[own], packs=len(packs))
    posterior = pack_posterior(fitted.population, sums)
    law = LineCrossing(posterior, level, packs.age_today)
    low, median, high = (
        crossing_quantile(law, chance, packs.age_today + rules.horizon_years)
        for chance in ((1 - rules.interval) / 2, 0.5, (1 + rules.interval) / 2)
    )
    today = posterior.fraction_at(_age_without_recovery(tests, own, packs, posterior))
    last_below = _last_test_below(tests, used, len(packs), level)
    set_aside = _marked(used[fitted.too_high | fitted.too_low], len(tests.pack))
    return TypeForecast(
        population=fitted.population,
        posterior=posterior,
        fraction_today=today,
        fraction_sd=posterior.fraction_sd_at(packs.age_today),
        crossing_low_age=low,
        crossing_median_age=median,
        crossing_high_age=high,
        chance_below_today=chance_below_at(posterior, level, packs.age_today),
        chance_before_visit=law(np.maximum(packs.age_next_visit, packs.age_today)),
        own_tests=sums.count > 0,
        already_below=last_below | ~fractions_meet_level(today, level),
        last_test_below=last_below,
        bound_contradicted=_bound_contradicted(tests, posterior, fitted.population, rules),
        has_set_aside=_marked(tests.pack[set_aside], len(packs)),
        set_aside=set_aside,
    )


def _check(tests: RuntimeTests, packs: Packs, level: float) -> None:
    if not 0 < level < 1:
        message = f"level is {level}; it must lie between 0 and 1, as 0.80 does."
        raise BadValueError(message, field="level")
    first_bad(tests.pack >= len(packs), tests.pack, "pack", f"there are {len(packs)} packs, counted from 0")


def _fit(tests: RuntimeTests, used: IntArray, rules: ForecastRules) -> RobustFade:
    rules.minimum.check(tests.pack[used], tests.age_years[used])
    fitted = fit_fade_robustly(tests.pack[used], tests.age_years[used], tests.fraction[used], rules.outliers)
    kept = used[~(fitted.too_high | fitted.too_low)]
    rules.minimum.check(tests.pack[kept], tests.age_years[kept])
    if fitted.population.mean[1] <= 0:
        message = "Not enough data for a forecast of this type: its tests show no fade with age yet."
        raise NotEnoughDataError(message)
    return fitted


def _ignored(tests: RuntimeTests, used: IntArray, fitted: RobustFade) -> BoolArray:
    """Return which used tests have no say in their own pack's forecast."""
    latest = _marked(_latest(tests, used), len(tests.pack))[used]
    return fitted.too_high | (fitted.too_low & ~latest)


def _latest(tests: RuntimeTests, rows: IntArray) -> IntArray:
    """Return the row of each pack's latest test among `rows`; of two at the same age the later row."""
    ordered = rows[np.lexsort((rows, tests.age_years[rows], tests.pack[rows]))]
    pack = tests.pack[ordered]
    return ordered[np.append(pack[1:] != pack[:-1], True)] if ordered.size else ordered


def _last_test_below(tests: RuntimeTests, used: IntArray, packs: int, level: float) -> BoolArray:
    latest = _latest(tests, used)
    return _marked(tests.pack[latest[~fractions_meet_level(tests.fraction[latest], level)]], packs)


def _age_without_recovery(tests: RuntimeTests, own: IntArray, packs: Packs, posterior: FadePosterior) -> FloatArray:
    """Return the age (P,) to read today's fraction at: the last test's, where the pack's own line would rise since."""
    latest = _latest(tests, own)
    last_age = packs.age_today.copy()
    last_age[tests.pack[latest]] = tests.age_years[latest]
    rising = posterior.mean[:, 1] < 0
    return np.where(rising, np.minimum(last_age, packs.age_today), packs.age_today)


def _bound_contradicted(
    tests: RuntimeTests, posterior: FadePosterior, population: FadePopulation, rules: ForecastRules
) -> BoolArray:
    rows = np.flatnonzero(tests.stopped_early)
    pack, age = tests.pack[rows], tests.age_years[rows]
    line = posterior.of(pack)
    sd = np.sqrt(line.fraction_sd_at(age) ** 2 + population.noise_variance)
    chance = special.ndtr((line.fraction_at(age) - tests.fraction[rows]) / sd)
    return _marked(pack[chance < rules.least_bound_chance], len(posterior.mean))


def _marked(rows: IntArray | BoolArray, length: int) -> BoolArray:
    marks = np.zeros(length, dtype=np.bool_)
    marks[rows] = True
    return marks
