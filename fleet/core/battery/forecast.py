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

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from fleet.core.battery.arrays import FloatArray, first_bad
from fleet.core.battery.bend.fit import FadeFit, fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, rough_life
from fleet.core.battery.bend.parameters import FadePrior, assumed_prior
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.foreseen import ForecastRules, Foreseen, KnownType, Packs, foreseen
from fleet.core.battery.marks import Marks, histories_of, marks_of
from fleet.core.errors import BadValueError

OWN, KIN, ASSUMED = "own", "kin", "assumed"


@dataclass(frozen=True, eq=False)
class TypeForecast(Foreseen, Marks, KnownType):
    """One device type's forecast: what is foreseen, what marks its packs and tests, and what it rests on.

    `lacking` says in words what its own tests fall short of, "" if nothing. `vouched_years`: the oldest age known of;
    beyond `reach_years` no crossing age is named (infinity), while the chances stand.
    """

    lacking: str
    vouched_years: float
    reach_years: float

    @property
    def informed(self) -> str:
        """What the type's numbers rest on: "own", "kin" or "assumed"."""
        if not self.lacking:
            return OWN
        return KIN if self.fit.prior.borrowed else ASSUMED


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
    rules = rules or ForecastRules()
    _check(tests, packs, level)
    histories = histories_of(tests, packs, level)
    if fit is None:
        fit = fit_fade_numbers(histories, prior or assumed_prior(rough_life(histories)), draws=rules.draws)
    known = KnownType(level, fit, recalibration or Recalibration(), packs, histories)
    seen = foreseen(known, rules)
    marks = marks_of(tests, known, seen, rules, tests.fraction if measured is None else measured)
    lacking = rules.minimum.lacking(tests.pack[tests.full], tests.age_years[tests.full])
    reach = rules.reach * vouched_years
    return TypeForecast(
        **_named(known, marks, seen.within(reach)), lacking=lacking, vouched_years=vouched_years, reach_years=reach
    )


def _check(tests: FadeTests, packs: Packs, level: float) -> None:
    if not 0 < level <= 1:
        message = f"level is {level}; it must lie above 0 and be at most 1, as 0.80 does."
        raise BadValueError(message, field="level")
    first_bad(tests.pack >= len(packs), tests.pack, "pack", f"there are {len(packs)} packs, counted from 0")


def _named(*parts: KnownType | Marks | Foreseen) -> dict[str, Any]:
    return {each.name: getattr(part, each.name) for part in parts for each in fields(part)}
