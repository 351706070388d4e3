"""What a type's packs come to as a whole: its fitted numbers, the life of a new pack, demand, what-if and alarms.

The shapes that are stored, for the pages:

* `demand`: "months" (YYYY-MM, the first is the rest of this month), "expected", "low", "middle", "high" (10, 50, 90 %)
  by month; "total": by the chance that they are enough, packs from today to each month's end; "total_low" (10 %),
  "total_expected". Empty where too little is known of the type. A fitted pack whose age nobody knows counts with the
  mean chance of the type's other fitted packs, so as one of their mix of ages; one under its level by its latest test
  is needed at once. Where nobody knows the age of any fitted pack, there is no such mix: demand and what-if are empty.
* `what_if`: rows of "limit", "interval_months", "packs_next_year", "under_level_next_year".
* `alarms`: rows of "kind" (rated, drift, technician, rack, batch), "label", "tests", "words".
* `numbers`: rows of "name", "symbol", "value", "low", "high" (10 and 90 % of the draws), "unit"; and, to forecast with
  until the next night, "life_years", "vouched_years", "mode" and "draws" on the scale of the fit.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple

import numpy as np

from fleet.batteries.actions.history import YEAR, TypeHistory, date_codes
from fleet.batteries.actions.priors import UNSTATED
from fleet.batteries.models import Forecast, TypeOutlook
from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.bend.fit import FadeFit
from fleet.core.battery.bend.histories import OUTSIDE_TABLE, PLAIN, SHORT_CHARGE
from fleet.core.battery.bend.outlook import FadeOutlook, new_pack_law
from fleet.core.battery.bend.parameters import FadePrior
from fleet.core.battery.crossing import CrossingLaw
from fleet.core.battery.decision import VisitAges, WhatIf, what_if
from fleet.core.battery.demand import demand
from fleet.core.battery.drift import GroupBias, bias, drift
from fleet.core.battery.forecast import ASSUMED, KIN, TypeForecast
from fleet.core.due import add_months
from fleet.web import clock

MONTHS: Final = 24
LEVELS: Final = ("0.5", "0.8", "0.9", "0.95", "0.98", "0.99")
LIMITS: Final = (0.02, 0.05, 0.10, 0.20, 0.30)
INTERVALS: Final = (6, 12, 18, 24)
#: Tests of the last half year are the recent ones (own choice).
RECENT: Final = timedelta(days=183)
#: Where over this share of so many full tests or more of this time was set aside, something else is wrong (own choice).
_MOST_ASIDE, _LEAST_TESTS, _LATELY = 0.5, 5, timedelta(days=730)
_YEAR_MONTHS: Final = 12
_AT_ONCE: Final = 2000
_NEW_HORIZON: Final = 30.0


class Group(NamedTuple):
    """The fitted packs of one replacement level: their rows in the type's history, and the forecast at that level."""

    rows: IntArray
    result: TypeForecast


class NewPack(NamedTuple):
    """The life of a new pack, years (10, 50, 90 %; None beyond horizon or reach), and what it loses in a first year."""

    low: float | None
    middle: float | None
    high: float | None
    first_year: float


def type_basis(result: TypeForecast) -> Forecast.Basis:
    """What a type's numbers rest on; NOT_ENOUGH where nothing was measured, of no type, and nothing is stated."""
    if result.informed == KIN:
        return Forecast.Basis.BORROWED
    if result.informed == ASSUMED:
        unstated = result.fit.prior.source == UNSTATED
        return Forecast.Basis.NOT_ENOUGH if unstated else Forecast.Basis.ASSUMED
    return Forecast.Basis.OWN_TESTS


def new_pack(result: TypeForecast) -> NewPack:
    """Return the life of a new pack of the type."""
    law = new_pack_law(result.fit.drawn_numbers(), result.level)
    asked = np.array([result.recalibration.forecast_chance(chance) for chance in (0.1, 0.5, 0.9)])
    ages = law.crossing_ages(asked, np.array([_NEW_HORIZON]))[:, 0]
    (start,), (later,) = (law.fraction_at(np.array([age]))[0] for age in (0.0, 1.0))
    low, middle, high = (float(age) if age <= min(result.reach_years, _NEW_HORIZON) else None for age in ages)
    return NewPack(low, middle, high, float(start - later))


def type_outlook(
    history: TypeHistory, base: TypeForecast, groups: Sequence[Group], life: NewPack, at: datetime
) -> TypeOutlook:
    """Return the row of a type, not saved. `base`: the forecast at the type's own level."""
    basis, correction = type_basis(base), base.recalibration
    made = TypeOutlook(
        device_type=history.device_type,
        made_at=at,
        basis=basis,
        prior_source=base.fit.prior.source[:120],
        packs_tested=base.fit.packs,
        tests_used=base.fit.tests,
        packs_fitted=len(history.fitted),
        correction_a=correction.a,
        correction_b=correction.b,
        correction_ranks=correction.ranks,
        alarms=list(_alarms(history, base)),
    )
    if basis == Forecast.Basis.NOT_ENOUGH:
        return made
    made.new_life_low, made.new_life_middle, made.new_life_high = life.low, life.middle, life.high
    made.fade_first_year = life.first_year
    made.numbers = list(_numbers(base.fit, base.vouched_years))
    aged = [Group(rows[~history.is_ageless[rows]], result) for rows, result in groups]
    marks = [result.last_test_below[rows[history.is_ageless[rows]]] for rows, result in groups]
    ageless = np.concatenate([np.zeros(0, dtype=np.bool_), *marks])
    if len(ageless) < len(history.fitted) or not ageless.size:
        made.demand = _demand(history, base, aged, ageless)
        made.what_if = _what_if(base, aged, len(ageless))
    return made


def _demand(history: TypeHistory, base: TypeForecast, groups: Sequence[Group], ageless: BoolArray) -> dict[str, Any]:
    """`ageless` (K,): of each fitted pack of an age nobody knows, whether its latest test was under its level."""
    ends = [add_months(history.today.replace(day=1), ahead) for ahead in range(1, MONTHS + 1)]
    ahead = np.array([0.0, *((end - history.today).days / YEAR for end in ends)])
    needed = demand(_own_chances(groups, ageless, ahead), _new_chances(base, np.arange(MONTHS + 1) / _YEAR_MONTHS))
    low, middle, high = needed.quantiles([0.1, 0.5, 0.9]).tolist()
    totals = needed.total_quantiles([0.1, *(float(level) for level in LEVELS)]).tolist()
    return {
        "months": [f"{add_months(end, -1):%Y-%m}" for end in ends],
        "expected": _rounded(needed.expected),
        "low": low,
        "middle": middle,
        "high": high,
        "total": dict(zip(LEVELS, totals[1:], strict=True)),
        "total_low": totals[0],
        "total_expected": _rounded(needed.total_expected),
    }


def _own_chances(groups: Sequence[Group], ageless: BoolArray, ahead: FloatArray) -> Iterator[FloatArray]:
    """Give the chances (M + 1, R, n) of the fitted packs; one under its level by its latest test is needed at once."""
    total, packs = np.zeros(()), 0
    for rows, result, known in _parts(groups):
        today = result.packs.age_today[rows]
        chance = np.stack([known.chance_by_draw(today + years) for years in ahead])
        own = np.where(result.last_test_below[rows], 1.0, result.recalibration.chance(chance))
        total, packs = total + own.sum(axis=2, keepdims=True), packs + len(rows)
        yield own
    if ageless.size:
        yield np.where(ageless, 1.0, total / packs)


def _what_if(base: TypeForecast, groups: Sequence[Group], ageless: int) -> list[dict[str, float]]:
    intervals = np.array(INTERVALS) / _YEAR_MONTHS
    total = WhatIf(*np.zeros((2, len(LIMITS), len(INTERVALS))))
    grid = np.arange(0.0, 1 + 2 * max(intervals) + 0.01, 1 / _YEAR_MONTHS)
    new_chance = _new_chances(base, grid).mean(axis=0)

    def new_law(ages: FloatArray) -> FloatArray:
        return np.asarray(np.interp(ages, grid, new_chance))

    for rows, result, known in _parts(groups):
        ages = VisitAges(result.packs.age_today[rows], result.packs.age_next_visit[rows])
        total = total.plus(what_if(_law(rows, result, known), new_law, ages, LIMITS, intervals))
    aged = sum(len(rows) for rows, _ in groups)
    share = 1 + ageless / max(aged, 1)
    return [
        {
            "limit": limit,
            "interval_months": months,
            "packs_next_year": round(share * float(total.packs[row, column]), 2),
            "under_level_next_year": round(share * float(total.under[row, column]), 2),
        }
        for row, limit in enumerate(LIMITS)
        for column, months in enumerate(INTERVALS)
    ]


def _law(rows: IntArray, result: TypeForecast, known: FadeOutlook) -> CrossingLaw:
    """Return the corrected law of the packs; one under its level by its latest test has crossed."""
    return lambda ages: np.where(result.last_test_below[rows], 1.0, result.recalibration.chance(known(ages)))


def _new_chances(base: TypeForecast, ages: FloatArray) -> FloatArray:
    """Return the corrected chances (R, J) that a new pack has crossed by `ages` (J,)."""
    law = new_pack_law(base.fit.drawn_numbers(), base.level)
    return base.recalibration.chance(np.stack([law.chance_by_draw(np.array([age]))[:, 0] for age in ages], axis=1))


def _parts(groups: Sequence[Group]) -> Iterator[tuple[IntArray, TypeForecast, FadeOutlook]]:
    for rows, result in groups:
        for first in range(0, len(rows), _AT_ONCE):
            some = rows[first : first + _AT_ONCE]
            yield some, result, result.outlook_of(some)


def _numbers(fit: FadeFit, vouched_years: float) -> Iterator[dict[str, Any]]:
    """Give the numbers in the order of the fit's scale, each with its draws there, from which `stored_fit` is made."""
    drawn = fit.drawn_numbers()
    start, fade = drawn.mean
    sd_start, sd_fade = np.sqrt(drawn.spread[0, 0]), np.sqrt(drawn.spread[1, 1])
    rows = (
        ("What a new pack carries of its rating", "a", start, "of the rating"),
        ("Steady fade", "b", fade, "of the rating a year"),
        ("Spread of what new packs carry", "sd(a)", sd_start, "of the rating"),
        ("Spread of the fade between packs", "sd(b)", sd_fade, "of the rating a year"),
        ("How start and fade go together", "r", drawn.spread[0, 1] / (sd_start * sd_fade), ""),
        ("Error of a full test", "s", np.sqrt(drawn.noise[PLAIN]), "of the rating"),
        ("Wandering of a pack in a year", "κ", np.sqrt(drawn.stray), "of the rating"),
        ("What the bend costs in the first year", "c", drawn.bend, "of the rating"),
        ("Power of age in the bend", "p", drawn.power, ""),
        ("Spread of the bend between packs", "sd(g)", np.sqrt(drawn.bend_spread), "of the bend"),
        ("Share of tests that are wrong", "π", drawn.gross, "of the tests"),
        ("What a missing charge costs a test", "h", drawn.charge, "of the part that was missing"),
        ("How much the fade goes with cycles a year", "q", drawn.cycles, "power"),
        ("Error of a test after a short charge", "s₁", np.sqrt(drawn.noise[SHORT_CHARGE]), "of the rating"),
        ("Error of a test outside the table", "s₂", np.sqrt(drawn.noise[OUTSIDE_TABLE]), "of the rating"),
    )
    for at, (name, symbol, values, unit) in enumerate(rows):
        low, middle, high = (float(f"{each:.4g}") for each in np.quantile(values, [0.1, 0.5, 0.9]))
        yield {
            "name": name,
            "symbol": symbol,
            "value": middle,
            "low": low,
            "high": high,
            "unit": unit,
            "life_years": fit.prior.life_years,
            "vouched_years": vouched_years,
            "mode": float(fit.mode[at]),
            "draws": [round(float(value), 6) for value in fit.draws[:, at]],
        }


def stored_fit(outlook: TypeOutlook) -> FadeFit | None:
    """Return the type's numbers as the last night left them, without what is not needed to forecast; None if none."""
    if not outlook.numbers:
        return None
    mode = np.array([row["mode"] for row in outlook.numbers])
    prior = FadePrior(
        mode,
        np.ones_like(mode),
        outlook.numbers[0]["life_years"],
        outlook.prior_source,
        borrowed=outlook.basis == Forecast.Basis.BORROWED,
    )
    draws = np.array([row["draws"] for row in outlook.numbers]).T
    return FadeFit(prior, mode, np.eye(len(mode)), draws, outlook.packs_tested, outlook.tests_used, float(len(draws)))


def stored_vouched(outlook: TypeOutlook) -> float:
    """Return the oldest age, years, of such packs known of on the last night; infinity for a row that has none."""
    return float(outlook.numbers[0].get("vouched_years", np.inf))


def _alarms(history: TypeHistory, result: TypeForecast) -> Iterator[dict[str, Any]]:
    full = np.array([test.is_full for test in history.tests], dtype=np.bool_)
    z = np.where(full, result.surprise, np.nan)
    since = history.today - RECENT
    recent = np.array([clock.local_day(test.started_at) >= since for test in history.tests], dtype=np.bool_)
    yield from _rated(history, result, full)
    lately = drift(z, recent, gross=float(result.fit.numbers().gross[0]))
    if lately.alarm:
        words = (
            f"{lately.outside} of the last {lately.tests} tests came out outside what was expected of 8 in 10 of "
            f"them, where {lately.expected:.0f} would be usual: {lately.low} low, {lately.outside - lately.low} high."
        )
        yield {"kind": "drift", "label": "", "tests": lately.tests, "words": words}
    codes = date_codes(history.device_type)
    for kind, labels in (
        ("technician", [test.by_name for test in history.tests]),
        ("rack", [test.rack_position for test in history.tests]),
        ("batch", [codes.get(test.pack_id, "") for test in history.tests]),
    ):
        yield from (
            _biased(kind, each) for each in bias(z, labels) if each.alarm and (kind != "batch" or each.mean < 0)
        )


def _rated(history: TypeHistory, result: TypeForecast, full: BoolArray) -> Iterator[dict[str, Any]]:
    since = history.today - _LATELY
    seen = full & np.array([clock.local_day(test.started_at) >= since for test in history.tests], dtype=np.bool_)
    tests, aside = int(seen.sum()), int((seen & result.set_aside).sum())
    if tests >= _LEAST_TESTS and aside > _MOST_ASIDE * tests:
        words = f"{aside} of the {tests} full tests of the last two years were set aside as likely wrong."
        yield {"kind": "rated", "label": "", "tests": tests, "words": words}


def _biased(kind: str, found: GroupBias) -> dict[str, Any]:
    side = "lower" if found.mean < 0 else "higher"
    words = (
        f"{found.tests} tests came out {side} than was expected of them, on average by {abs(found.mean):.1f} times "
        "the usual difference between a test and what is expected."
    )
    return {"kind": kind, "label": found.label, "tests": found.tests, "words": words}


def _rounded(values: FloatArray) -> list[float]:
    return [round(float(value), 2) for value in values]
