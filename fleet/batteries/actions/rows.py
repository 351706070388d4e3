"""The forecast of each fitted pack as the row that is kept: numbers, advice, what a test would settle, the plot."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np

from fleet.batteries.actions.history import YEAR, FittedPack, TypeHistory
from fleet.batteries.actions.outlooks import type_basis
from fleet.batteries.models import Forecast
from fleet.batteries.queries.policy import AppliedLimit, LimitsOfType
from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.bend.outlook import FadeOutlook
from fleet.core.battery.decision import Advice, Limits, PackChances, decide
from fleet.core.battery.forecast import TypeForecast
from fleet.core.battery.worth import TestWorth, worth_of_test

#: Packs whose states are held together.
_AT_ONCE: Final = 1000
#: The plot's dates: from today, every half year, as far as a pack can matter to a plan.
CURVE_YEARS: Final = np.arange(0, 5.01, 0.5)
#: As `ForecastRules.horizon_years`, in days.
_HORIZON: Final = timedelta(days=15 * 365)
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
    unknown = np.array([_basis(result, row) == Forecast.Basis.NOT_ENOUGH for row in rows])
    applied = [limits.of(each.pool, critical=each.critical, visit_months=each.visit_months) for each in some]
    chance_limits = np.array([each.limit for each in applied])
    today, visit, following = (
        ages[rows] for ages in (result.packs.age_today, result.packs.age_next_visit, result.packs.age_following_visit)
    )
    now = _worth(known, result, today, following, chance_limits)
    then = _worth(known, result, np.fmax(visit, today), following, chance_limits)
    changes = np.where(unknown, np.nan, then.changes)
    # A pack is not replaced on an assumption: it is tested first.
    measured = np.where(unknown | (type_basis(result) == Forecast.Basis.ASSUMED), np.nan, 1.0)
    advice = _advice(rows, result, history, applied, measured, changes)
    fans = result.course(known, today, CURVE_YEARS)
    for place, fitted in enumerate(some):
        row = _row(fitted, result, history)
        row.advice, row.limit, row.limit_by_cost = advice[place].value, applied[place].limit, applied[place].by_cost
        if not unknown[place]:
            row.test_worth, row.test_clears_at, row.test_clears_chance = (
                _known(each[place]) for each in (now.worth, now.clears_at, now.clears_chance)
            )
            row.curve = _curve(fans[:, :, place].T.tolist(), history.today)
        yield row


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
    known: FloatArray,
    changes: FloatArray,
) -> Sequence[Advice]:
    packs = result.packs
    since = np.array([history.age(row, history.last_full.get(row, history.first_fitted[row])) for row in rows])
    visit = np.fmax(packs.age_next_visit[rows], packs.age_today[rows])
    following = np.fmax(packs.age_following_visit[rows], visit)
    chances = PackChances(
        before_visit=known * result.chance_before_visit[rows],
        before_following=known * result.chance_before_following[rows],
        is_below=result.already_below[rows] & (result.last_test_below[rows] | ~np.isnan(known)),
        assumed=np.full(len(rows), type_basis(result) == Forecast.Basis.ASSUMED),
        untested_years=visit - since,
        untested_if_skipped=following - since,
        changes=changes,
    )
    held = Limits(
        limit=np.array([each.limit for each in applied]),
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
    made.chance_before_visit = _known(result.chance_before_visit[row])
    made.chance_before_following = _known(result.chance_before_following[row])
    made.chance_uncorrected = _known(result.chance_uncorrected[row])
    return made


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
    days = [today + timedelta(days=round(years * YEAR)) for years in CURVE_YEARS]
    return [[day.isoformat(), *(round(value, 4) for value in values)] for day, values in zip(days, fan, strict=True)]
