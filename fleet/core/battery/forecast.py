"""The forecast of one device type's packs: what each carries today, when it crosses the level, and how sure that is.

The model is `bend`: a fade that bends and wanders, its numbers drawn, tests that may be wrong. What is done here:

* A test stopped early by hand is a lower bound. One that ran longer than the other tests of its pack and type give a
  chance of `least_bound_chance` is marked `bound_contradicted`: a page must say so beside the numbers.
* Short charges and rates outside the type's table are tests of their own kind, whose noise (and loss) is learned.
* A test more likely wrong than right is marked in `set_aside`, its pack in `has_set_aside`; its weight in the forecast
  is small by itself. A test far above what the earlier ones allow is a `jump`: test again, or ask whether a new pack
  went in that nobody logged.
* A pack's latest full test under the level makes it `already_below`, whatever the model makes of it.
* No pack is forecast to recover: the fractions never rise with time, and none is negative.
* A type with too few tests of its own (`minimum`) rests on what its prior says: on other types, or on an assumption.
  A pack of which that leaves nearly everything open is `uncertain`, and no page gives a number for it.
* Chances and interval ends are corrected together by the type's `Recalibration`, so that they agree.

The chance of crossing counts first passages: a chance by a visit is never less than that of being below today.
Forecasts inform; a forecast is no test, and the maker's instructions and local policy decide.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fleet.core.battery.arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    column,
    first_bad,
    mask,
    measured_column,
    same_length,
)
from fleet.core.battery.bend.doubt import gross_chances, surprises
from fleet.core.battery.bend.fit import FadeFit, fit_fade_numbers
from fleet.core.battery.bend.histories import PLAIN, FadeTests, Histories, lay_out, removal_level, rough_life
from fleet.core.battery.bend.outlook import FadeOutlook, outlook
from fleet.core.battery.bend.parameters import FadeNumbers, FadePrior, assumed_prior
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.minimum import MinimumInformation
from fleet.core.battery.runtime import fractions_meet_level
from fleet.core.errors import BadValueError

OWN, KIN, ASSUMED = "own", "kin", "assumed"
# Packs whose states are held together.
_AT_ONCE = 2000


@dataclass(frozen=True)
class ForecastRules:
    """The choices a forecast rests on. All are this project's own."""

    minimum: MinimumInformation = field(default_factory=MinimumInformation)
    interval: float = 0.80
    """Chance that the crossing lies between the low and the high age."""
    horizon_years: float = 15.0
    """After today; a crossing later than that is given as infinity. Longer than a pack's or driver's service life."""
    least_bound_chance: float = 0.05
    """A test stopped early that ran longer than the forecast gives this chance contradicts it."""
    likely_wrong: float = 0.5
    """A test is set aside where the chance that it is a gross error is greater."""
    jump: float = 4.0
    """Standard deviations above what the earlier tests allow. A sound test exceeds 4 once in some 30,000."""
    widest: float = 4.0
    """An interval whose end is so many times its beginning (ages of the pack) says too little."""
    soon_years: float = 2.0
    """So does one without an end that begins within these years from today."""
    reach: float = 3.0
    """No crossing is named beyond so many times the oldest age that somebody vouches for: a bend may still come."""
    draws: int | None = None
    """Sets of the type's numbers; None for as many as `fit_fade_numbers` takes."""


@dataclass(frozen=True, eq=False, init=False)
class Packs:
    """All P packs of the type, as columns (P,); ages in years since the pack was fitted.

    `age_today`; `age_next_visit` and `age_following_visit`, nan if none is planned (a visit that is late counts as
    today). `entry_age`: at which the pack came into the record, 0 if it was new. `removed`: taken out as worn. `use`:
    log of the pack's cycles a year over the type's median, 0 where not counted. Raises BadValueError for an age that
    is negative or no number.
    """

    age_today: FloatArray
    age_next_visit: FloatArray
    age_following_visit: FloatArray
    entry_age: FloatArray
    removed: BoolArray
    use: FloatArray

    def __init__(  # noqa: PLR0913, PLR0917 - one argument for each column
        self,
        age_today: ArrayLike,
        age_next_visit: ArrayLike,
        age_following_visit: ArrayLike | None = None,
        entry_age: ArrayLike | None = None,
        removed: ArrayLike | None = None,
        use: ArrayLike | None = None,
    ) -> None:
        """Check the columns and keep them as arrays; the last four may be left out."""
        today = measured_column(age_today, "age_today")
        length = len(today)
        columns = {
            "age_today": today,
            "age_next_visit": _visit(age_next_visit, "age_next_visit"),
            "age_following_visit": _visit(
                np.full(length, np.nan) if age_following_visit is None else age_following_visit, "age_following_visit"
            ),
            "entry_age": measured_column(np.zeros(length) if entry_age is None else entry_age, "entry_age"),
            "removed": mask(np.zeros(length, dtype=np.bool_) if removed is None else removed, "removed"),
            "use": column(np.zeros(length) if use is None else use, "use"),
        }
        same_length(**columns)
        first_bad(~np.isfinite(columns["use"]), columns["use"], "use", "it must be a finite number")
        for name, values in columns.items():
            object.__setattr__(self, name, values)

    def __len__(self) -> int:
        """Return P."""
        return len(self.age_today)


def _visit(values: ArrayLike, field: str) -> FloatArray:
    ages = column(values, field)
    bad = np.isinf(ages) | (ages < 0)
    first_bad(bad, ages, field, "it must be years of age, or nan if no visit is planned")
    return ages


@dataclass(frozen=True, eq=False)
class Foreseen:
    """What is forecast of P packs, as columns (P,); ages in years, infinity for "not within the horizon".

    `fraction_today`, `fraction_sd`: the true fraction, expected value and standard deviation. `crossing_*_age`: at
    which the level is passed, with the interval's ends; 0 means below it when new. `chance_below_today`,
    `chance_before_visit`, `chance_before_following`: of having crossed by then, nan without a visit;
    `chance_uncorrected`: before the next visit, without the recalibration.
    """

    fraction_today: FloatArray
    fraction_sd: FloatArray
    crossing_low_age: FloatArray
    crossing_median_age: FloatArray
    crossing_high_age: FloatArray
    chance_below_today: FloatArray
    chance_before_visit: FloatArray
    chance_before_following: FloatArray
    chance_uncorrected: FloatArray


@dataclass(frozen=True, eq=False)
class TypeForecast(Foreseen):
    """One device type's forecast: the columns of `Foreseen`, what marks its packs (P,) and tests (N,), and the model.

    `own_tests`: whether a full test of the pack itself was used. `already_below`: expected below the level, or measured
    so at the latest full test (`last_test_below`). `bound_contradicted`, `has_set_aside`, `has_jump`, `uncertain`: see
    the module's text. `low_is_past`: the interval begins before the pack's last test (or today, if it has none): it may
    be below already. `set_aside`, `jump` (N,). `informed`: "own", "kin" or "assumed", what the type's numbers rest on;
    `lacking` says in words what its own tests fall short of, "" if nothing. `vouched_years`: the oldest age known of;
    beyond `reach_years` no crossing age is named (infinity), while the chances stand.
    """

    own_tests: BoolArray
    already_below: BoolArray
    last_test_below: BoolArray
    bound_contradicted: BoolArray
    has_set_aside: BoolArray
    has_jump: BoolArray
    uncertain: BoolArray
    low_is_past: BoolArray
    set_aside: BoolArray
    jump: BoolArray
    surprise: FloatArray
    informed: str
    lacking: str
    vouched_years: float
    reach_years: float
    level: float
    fit: FadeFit
    recalibration: Recalibration
    packs: Packs
    histories: Histories

    @cached_property
    def outlook(self) -> FadeOutlook:
        """What is known of all packs, uncorrected. Some 3 kB a pack: of many thousands ask `outlook_of` for a part."""
        return outlook(self.histories, self.fit.drawn_numbers(), self.level)

    def outlook_of(self, rows: IntArray) -> FadeOutlook:
        """Return what is known of the packs `rows` (n,), in that order, uncorrected."""
        return outlook(_rows(self.histories, rows), self.fit.drawn_numbers(), self.level)

    def course(self, known: FadeOutlook, age_today: FloatArray, years_ahead: FloatArray) -> FloatArray:
        """Return the 10, 50 and 90 % fractions (3, J, n) at `years_ahead` (J,) of today, rising.

        `known`: the `outlook_of` n packs, `age_today` (n,) theirs. Corrected like the chances, from normal laws of the
        same mean and variance; never rising, never negative.
        """
        points = [known.fraction_at(age_today + years) for years in years_ahead]
        middle, sd = (np.stack(each) for each in zip(*points, strict=True))
        wanted = [special.ndtri(self.recalibration.forecast_chance(chance)) for chance in (0.1, 0.5, 0.9)]
        fan = np.stack([middle + z * sd for z in wanted])
        return np.maximum(np.minimum.accumulate(fan, axis=1), 0.0)


def forecast(  # noqa: PLR0913 - the tests, the packs, and four things that may be known of their type
    tests: FadeTests,
    packs: Packs,
    *,
    level: float = 0.80,
    prior: FadePrior | None = None,
    recalibration: Recalibration | None = None,
    rules: ForecastRules | None = None,
    fit: FadeFit | None = None,
    measured: FloatArray | None = None,
    vouched_years: float = np.inf,
) -> TypeForecast:
    """Forecast all packs of one device type against the replacement `level` (runtime fraction).

    `prior`: what is assumed of the type's numbers, None for wide assumptions. `recalibration`: None for no correction.
    `fit`: the type's numbers where they are known already, to be used as they are. `measured` (N,): the fractions that
    decide whether the latest test is under the level, where `tests` has them at a reference temperature.
    `vouched_years`: the oldest age of such packs that anybody has tested or stated; infinity names any day. Raises
    BadValueError for a level not above 0 or over 1, or a test of a pack that is not in `packs`.
    """
    rules, recalibration = rules or ForecastRules(), recalibration or Recalibration()
    _check(tests, packs, level)
    histories = histories_of(tests, packs, level)
    if fit is None:
        fit = fit_fade_numbers(histories, prior or assumed_prior(rough_life(histories)), draws=rules.draws)
    full = np.flatnonzero(~tests.bound & (tests.kind == PLAIN))
    lacking = rules.minimum.lacking(tests.pack[full], tests.age_years[full])
    foreseen = _foreseen(
        histories,
        fit.drawn_numbers(),
        level,
        lambda known, some: _of_part(known, some, packs, recalibration, rules),
    )
    last_below = _last_test_below(tests, full, tests.fraction if measured is None else measured, len(packs), level)
    below = last_below | ~fractions_meet_level(foreseen.fraction_today, level)
    numbers = fit.numbers()
    set_aside = np.nan_to_num(gross_chances(tests, histories, numbers)) > rules.likely_wrong
    surprise = surprises(tests, histories, numbers)
    jump = np.nan_to_num(surprise) > rules.jump
    own = _marked(tests.pack[full], len(packs))
    reach = rules.reach * vouched_years
    return TypeForecast(
        **_named(foreseen, reach),
        own_tests=own,
        already_below=below,
        last_test_below=last_below,
        bound_contradicted=_bound_contradicted(tests, packs, fit, level, rules),
        has_set_aside=_marked(tests.pack[set_aside], len(packs)),
        has_jump=_marked(tests.pack[jump], len(packs)),
        uncertain=_uncertain(foreseen, packs, rules) & ~below,
        low_is_past=foreseen.crossing_low_age < _last_age(tests, packs),
        set_aside=set_aside,
        jump=jump,
        surprise=surprise,
        informed=(KIN if fit.prior.borrowed else ASSUMED) if lacking else OWN,
        lacking=lacking,
        vouched_years=vouched_years,
        reach_years=reach,
        level=level,
        fit=fit,
        recalibration=recalibration,
        packs=packs,
        histories=histories,
    )


def histories_of(tests: FadeTests, packs: Packs, level: float) -> Histories:
    """Return the tests laid out by pack; the level at which packs were taken out is learned from those that were."""
    full = np.flatnonzero(~tests.bound & (tests.kind == PLAIN))
    last = _latest(tests, full)
    worn = last[packs.removed[tests.pack[last]]]
    middle, sd = removal_level(tests.fraction[worn], level)
    return lay_out(tests, len(packs), entry_age=packs.entry_age, entry_level=middle, entry_level_sd=sd, use=packs.use)


def _check(tests: FadeTests, packs: Packs, level: float) -> None:
    if not 0 < level <= 1:
        message = f"level is {level}; it must lie above 0 and be at most 1, as 0.80 does."
        raise BadValueError(message, field="level")
    first_bad(tests.pack >= len(packs), tests.pack, "pack", f"there are {len(packs)} packs, counted from 0")


def _foreseen(
    histories: Histories, draws: FadeNumbers, level: float, of_part: Callable[[FadeOutlook, Histories], Foreseen]
) -> Foreseen:
    names = [each.name for each in fields(Foreseen)]
    found = {name: np.full(len(histories), np.nan) for name in names}
    for some in _parts(histories):
        part = of_part(outlook(some.in_own_order(), draws, level), some)
        for name in names:
            found[name][some.row] = getattr(part, name)
    return Foreseen(**found)


def _parts(histories: Histories) -> Iterator[Histories]:
    for first in range(0, len(histories), _AT_ONCE):
        yield histories.chosen(np.arange(first, min(first + _AT_ONCE, len(histories))))


def _of_part(
    known: FadeOutlook, some: Histories, packs: Packs, recalibration: Recalibration, rules: ForecastRules
) -> Foreseen:
    today, next_age, following_age = (
        ages[some.row] for ages in (packs.age_today, packs.age_next_visit, packs.age_following_visit)
    )
    tails = ((1 - rules.interval) / 2, 0.5, (1 + rules.interval) / 2)
    asked = np.array([recalibration.forecast_chance(tail) for tail in tails])
    low, median, high = known.crossing_ages(asked, today + rules.horizon_years)
    now, sd = known.fraction_at(today)
    then, _ = known.fraction_at(np.minimum(some.last_age, today))
    below_today, next_visit, following = known(today), _by(known, today, next_age), _by(known, today, following_age)
    return Foreseen(
        fraction_today=np.maximum(np.minimum(now, then), 0.0),
        fraction_sd=sd,
        crossing_low_age=low,
        crossing_median_age=median,
        crossing_high_age=high,
        chance_below_today=recalibration.chance(below_today),
        chance_before_visit=recalibration.chance(next_visit),
        chance_before_following=recalibration.chance(following),
        chance_uncorrected=next_visit,
    )


def _by(known: FadeOutlook, today: FloatArray, visit: FloatArray) -> FloatArray:
    planned = ~np.isnan(visit)
    return np.where(planned, known(np.where(planned, np.maximum(visit, today), today)), np.nan)


def _named(foreseen: Foreseen, reach: float) -> dict[str, FloatArray]:
    """Return the columns by name, crossing ages beyond the reach as infinity."""
    columns = {each.name: getattr(foreseen, each.name) for each in fields(Foreseen)}
    ends = ("crossing_low_age", "crossing_median_age", "crossing_high_age")
    return columns | {name: np.where(columns[name] > reach, np.inf, columns[name]) for name in ends}


def _uncertain(foreseen: Foreseen, packs: Packs, rules: ForecastRules) -> BoolArray:
    low, high = foreseen.crossing_low_age, foreseen.crossing_high_age
    endless = np.isinf(high) & (low <= packs.age_today + rules.soon_years)
    return endless | (np.isfinite(high) & (high > rules.widest * low))


def _latest(tests: FadeTests, rows: IntArray) -> IntArray:
    """Return the row of each pack's latest test among `rows`; of two at the same age the later row."""
    ordered = rows[np.lexsort((rows, tests.age_years[rows], tests.pack[rows]))]
    pack = tests.pack[ordered]
    return ordered[np.append(pack[1:] != pack[:-1], True)] if ordered.size else ordered


def _last_test_below(tests: FadeTests, full: IntArray, measured: FloatArray, packs: int, level: float) -> BoolArray:
    latest = _latest(tests, full)
    return _marked(tests.pack[latest[~fractions_meet_level(measured[latest], level)]], packs)


def _last_age(tests: FadeTests, packs: Packs) -> FloatArray:
    """Return the age (P,) at each pack's last full test, or today."""
    latest = _latest(tests, np.flatnonzero(~tests.bound & (tests.kind == PLAIN)))
    age = packs.age_today.copy()
    age[tests.pack[latest]] = tests.age_years[latest]
    return age


def _bound_contradicted(tests: FadeTests, packs: Packs, fit: FadeFit, level: float, rules: ForecastRules) -> BoolArray:
    """Return the packs (P,) with a bound that ran longer than the most likely numbers and the values give a chance."""
    numbers = fit.numbers()
    bounds = np.flatnonzero(tests.bound)
    if not bounds.size:
        return _marked(bounds, len(packs))
    pack, age = tests.pack[bounds], tests.age_years[bounds]
    without = _rows(histories_of(tests.rows(~tests.bound), packs, level), pack)
    middle, sd = outlook(without, numbers, level).fraction_at(age)
    spread = np.sqrt(sd**2 + numbers.noise[tests.kind[bounds], 0])
    reads_low = numbers.charge[0] * tests.shortfall[bounds]
    chance = special.ndtr((middle - reads_low - tests.fraction[bounds]) / spread)
    return _marked(pack[chance < rules.least_bound_chance], len(packs))


def _rows(histories: Histories, rows: IntArray) -> Histories:
    """Return the packs `rows` (n,), which may stand more than once, as rows 0 to n - 1."""
    place = np.empty(len(histories), dtype=np.int64)
    place[histories.row] = np.arange(len(place))
    order = np.argsort(place[rows], kind="stable")
    return replace(histories.chosen(place[rows][order]), row=order)


def _marked(rows: IntArray, length: int) -> BoolArray:
    marks = np.zeros(length, dtype=np.bool_)
    marks[rows] = True
    return marks
