"""The forecast of each fitted pack as the row that is kept: numbers, advice, what a test would settle, the plot."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Final, NamedTuple

import numpy as np

from fleet.batteries.actions.history import YEAR, FittedPack, TypeHistory
from fleet.batteries.actions.outlooks import type_basis
from fleet.batteries.actions.priors import oldest_tested
from fleet.batteries.models import Forecast
from fleet.batteries.queries.policy import AppliedLimit, LimitsOfType
from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.bend.outlook import FadeOutlook
from fleet.core.battery.decision import Advice, Limits, PackChances, decide
from fleet.core.battery.forecast import TypeForecast
from fleet.core.battery.foreseen import ForecastRules
from fleet.core.battery.worth import TestWorth, worth_of_test

#: Packs whose states are held together.
_AT_ONCE: Final = 1000
#: The plot's dates: from today, every half year, as far as a pack can matter to a plan.
CURVE_YEARS: Final = np.arange(0, 5.01, 0.5)
HORIZON_YEARS: Final = ForecastRules().horizon_years
_HORIZON: Final = timedelta(days=HORIZON_YEARS * 365)
_MONTHS: Final = 12
NO_AGE: Final = "Nobody knows when this pack was fitted: record the day it was made, or its first test."


def made(
    group: Sequence[FittedPack], result: TypeForecast, history: TypeHistory, limits: LimitsOfType, at: datetime
) -> Iterator[Forecast]:
    """Give the rows, not saved, of fitted packs of one level, of which `result` is the forecast."""
    doubtful, jumps = (_tests_by_row(marks, history) for marks in (result.set_aside, result.jump))
    for first in range(0, len(group), _AT_ONCE):
        some = group[first : first + _AT_ONCE]
        for row, fitted in zip(_part(some, result, history, limits), some, strict=True):
            row.made_at = at
            row.doubtful, row.jumps = doubtful.get(fitted.row, []), jumps.get(fitted.row, [])
            yield row


def _part(
    some: Sequence[FittedPack], result: TypeForecast, history: TypeHistory, limits: LimitsOfType
) -> Iterator[Forecast]:
    rows = np.array([fitted.row for fitted in some])
    known = result.outlook_of(rows)
    applied = [limits.of(each.pool, critical=each.critical, visit_months=each.visit_months) for each in some]
    said = _Said.of(rows, result, np.array([each.limit for each in applied]))
    today, visit, following = (
        ages[rows] for ages in (result.packs.age_today, result.packs.age_next_visit, result.packs.age_following_visit)
    )
    asked = np.where(np.isnan(said.before_following), np.nan, following)
    now = _worth(known, result, today, asked, said.limit)
    then = _worth(known, result, np.fmax(visit, today), asked, said.limit)
    advice = _advice(rows, result, history, applied, said, then.changes)
    fans = result.course(known, today, CURVE_YEARS)
    for place, fitted in enumerate(some):
        row = _row(fitted, result, history)
        row.advice, row.limit, row.limit_by_cost = advice[place].value, applied[place].limit, applied[place].by_cost
        if row.basis != Forecast.Basis.NOT_ENOUGH:
            row.chance_before_visit, row.chance_before_following = (
                _known(each[place]) for each in (said.before_visit, said.before_following)
            )
            row.test_worth, row.test_clears_at, row.test_clears_chance = (
                _known(each[place]) for each in (now.worth, now.clears_at, now.clears_chance)
            )
            reached = int(np.count_nonzero(today[place] + CURVE_YEARS <= max(result.reach_years, today[place] + 1)))
            row.curve = _curve(fans[:, :reached, place].T.tolist(), history.today)
        yield row


class _Said(NamedTuple):
    """The chances of n packs, (n,), as far as they are said, beside the limits: nan where not known.

    A chance of an age beyond the forecast's reach is only said where it is over the limit.
    """

    before_visit: FloatArray
    before_following: FloatArray
    limit: FloatArray

    @classmethod
    def of(cls, rows: IntArray, result: TypeForecast, limit: FloatArray) -> "_Said":
        """Return those of the packs `rows` (n,)."""
        packs, within = result.packs, []
        for chances, ages in (
            (result.chance_before_visit, packs.age_next_visit),
            (result.chance_before_following, packs.age_following_visit),
        ):
            age, chance = np.fmax(ages[rows], packs.age_today[rows]), chances[rows]
            within.append(np.where((age <= result.reach_years) | (chance > limit), chance, np.nan))
        return cls(within[0], within[1], limit)


def _worth(
    known: FadeOutlook, result: TypeForecast, tested: FloatArray, asked: FloatArray, limits: FloatArray
) -> TestWorth:
    """Return what a test at the age `tested` (n,) would settle about the following visit; nan without one."""
    planned = ~np.isnan(asked)
    outcomes = known.after_test(tested, np.where(planned, asked, tested))
    chance = np.where(planned, result.recalibration.chance(outcomes.chance), np.nan)
    return worth_of_test(replace(outcomes, chance=chance), limits)


def _advice(  # noqa: PLR0913, PLR0917 - private, and each is needed
    rows: IntArray,
    result: TypeForecast,
    history: TypeHistory,
    applied: Sequence[AppliedLimit],
    said: _Said,
    changes: FloatArray,
) -> Sequence[Advice]:
    packs = result.packs
    since = np.array([history.age(row, history.last_full.get(row, history.first_fitted[row])) for row in rows])
    visit = np.fmax(packs.age_next_visit[rows], packs.age_today[rows])
    following = np.fmax(packs.age_following_visit[rows], visit)
    basis = type_basis(result)
    assumed = basis == Forecast.Basis.ASSUMED
    unknown = np.array([_basis(result, row) == Forecast.Basis.NOT_ENOUGH for row in rows])
    measured = ~unknown & (not assumed)
    heard = measured | ((result.own_tests[rows] | (basis != Forecast.Basis.NOT_ENOUGH)) & ~history.is_ageless[rows])
    chances = PackChances(
        # What is assumed or very uncertain may call a pack in to be tested; it never leaves one be or replaces it.
        before_visit=np.where(heard, said.before_visit, np.nan),
        before_following=np.where(measured, said.before_following, np.nan),
        is_below=result.already_below[rows] & (result.last_test_below[rows] | measured),
        assumed=np.full(len(rows), assumed),
        untested_years=visit - since,
        untested_if_skipped=following - since,
        changes=np.where(unknown, np.nan, changes),
    )
    held = Limits(
        limit=said.limit,
        may_skip=np.array([each.may_skip for each in applied], dtype=np.bool_),
        longest_untested_years=np.array([each.longest_untested_months / _MONTHS for each in applied]),
    )
    return [Advice(each) for each in decide(chances, held)]


def _tests_by_row(marks: BoolArray, history: TypeHistory) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for test in np.flatnonzero(marks):
        found.setdefault(int(history.columns.pack[test]), []).append(history.tests[test].pk)
    return found


def _row(fitted: FittedPack, result: TypeForecast, history: TypeHistory) -> Forecast:
    row = fitted.row
    made = Forecast(
        pack_id=fitted.pack_id,
        device_id=fitted.device_id,
        basis=_basis(result, row),
        tests_used=history.full_tests.get(row, 0),
        level=fitted.level,
        last_test_below=bool(result.last_test_below[row]),
        next_visit=fitted.visit,
        following_visit=fitted.following,
        bound_contradicted=bool(result.bound_contradicted[row]),
        has_set_aside=bool(result.has_set_aside[row]),
        has_jump=bool(result.has_jump[row]),
    )
    if made.basis == Forecast.Basis.NOT_ENOUGH:
        made.already_below = made.last_test_below
        made.why_not = _why_not(result, row, history)
        return made
    made.already_below = bool(result.already_below[row])
    made.fraction_today, made.fraction_sd = float(result.fraction_today[row]), float(result.fraction_sd[row])
    made.crossing_on = history.date_at(row, result.crossing_median_age[row])
    made.crossing_early = history.date_at(row, result.crossing_low_age[row])
    made.crossing_late = history.date_at(row, result.crossing_high_age[row])
    made.chance_uncorrected = _known(result.chance_uncorrected[row])
    made.why_not = _why_no_day(fitted, result, history)
    return made


def _why_no_day(fitted: FittedPack, result: TypeForecast, history: TypeHistory) -> str:
    """Say why an end of the days is not named, where that is for want of old packs; else empty."""
    row, reach = fitted.row, result.reach_years
    if np.isfinite(result.crossing_high_age[row]) or reach >= result.packs.age_today[row] + HORIZON_YEARS:
        return ""
    beyond = f"no day is given beyond {reach:.1f} years of age"
    if result.vouched_years > oldest_tested(history.record):
        return f"Nobody has tested, or stated a life of, such packs over {result.vouched_years:.1f} years: {beyond}."
    return f"Nobody has tested a pack of this type older than {result.vouched_years:.1f} years: {beyond}."


def _basis(result: TypeForecast, row: int) -> Forecast.Basis:
    basis = type_basis(result)
    if basis != Forecast.Basis.OWN_TESTS:
        return Forecast.Basis.NOT_ENOUGH if result.uncertain[row] else basis
    if result.uncertain[row]:
        return Forecast.Basis.NOT_ENOUGH
    return Forecast.Basis.OWN_TESTS if result.own_tests[row] else Forecast.Basis.TYPE_ONLY


def _why_not(result: TypeForecast, row: int, history: TypeHistory) -> str:
    if row in history.ageless:
        return NO_AGE
    if type_basis(result) == Forecast.Basis.NOT_ENOUGH:
        return f"Not enough data for a forecast of this type: {result.lacking}."
    early, late = (history.date_at(row, age[row]) for age in (result.crossing_low_age, result.crossing_high_age))
    horizon = history.today + _HORIZON
    begin = f"{max(early, history.today):%b %Y}" if early else f"{horizon:%Y}"
    end = f"{late:%b %Y}" if late else f"beyond {horizon:%Y}"
    return f"Not enough data: such a pack may reach its level anywhere between {begin} and {end}."


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _curve(fan: Sequence[Sequence[float]], today: date) -> list[list[Any]]:
    days = [today + timedelta(days=round(years * YEAR)) for years in CURVE_YEARS[: len(fan)]]
    return [[day.isoformat(), *(round(value, 4) for value in values)] for day, values in zip(days, fan, strict=True)]
