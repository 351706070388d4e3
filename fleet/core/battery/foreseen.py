"""What is forecast of the packs of a type whose numbers are known: fractions, crossing ages, chances.

See `forecast`, which puts what the tests mark (`marks`) beside it.
"""

from collections.abc import Iterator
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
from fleet.core.battery.bend.fit import FadeFit
from fleet.core.battery.bend.histories import Histories
from fleet.core.battery.bend.outlook import FadeOutlook, outlook
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.minimum import MinimumInformation

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
class KnownType:
    """What a forecast of a type's P packs rests on: the `level`, the type's numbers (`fit`), and the laid out tests."""

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
        return outlook(self.histories.of_packs(rows), self.fit.drawn_numbers(), self.level)

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

    def within(self, reach_years: float) -> "Foreseen":
        """Return the same, with crossing ages beyond the reach as infinity."""
        low, median, high = (
            np.where(age > reach_years, np.inf, age)
            for age in (self.crossing_low_age, self.crossing_median_age, self.crossing_high_age)
        )
        return replace(self, crossing_low_age=low, crossing_median_age=median, crossing_high_age=high)


def foreseen(of_type: KnownType, rules: ForecastRules) -> Foreseen:
    """Return what is forecast of all packs, part by part, since their states take much memory."""
    draws = of_type.fit.drawn_numbers()
    names = [each.name for each in fields(Foreseen)]
    found = {name: np.full(len(of_type.histories), np.nan) for name in names}
    for some in _parts(of_type.histories):
        part = _of_part(outlook(some.in_own_order(), draws, of_type.level), some, of_type, rules)
        for name in names:
            found[name][some.row] = getattr(part, name)
    return Foreseen(**found)


def _parts(histories: Histories) -> Iterator[Histories]:
    for first in range(0, len(histories), _AT_ONCE):
        yield histories.chosen(np.arange(first, min(first + _AT_ONCE, len(histories))))


def _of_part(known: FadeOutlook, some: Histories, of_type: KnownType, rules: ForecastRules) -> Foreseen:
    packs, recalibration = of_type.packs, of_type.recalibration
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
