"""The nightly forecast: rows in, arrays to the core, rows out. One device type at a time."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
from django.db import transaction

from fleet.audit.actors import Actor
from fleet.batteries.actions.history import FittedPack, TypeHistory, type_history
from fleet.batteries.actions.packs import remove
from fleet.batteries.models import Backtest, ChemistryLife, Fitting, Forecast
from fleet.core.battery.arrays import BoolArray
from fleet.core.battery.bend.borrowing import TypeRecord, type_prior
from fleet.core.battery.bend.parameters import FadePrior, assumed_prior
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.forecast import ASSUMED, KIN, TypeForecast, forecast
from fleet.core.lifecycle import Condition
from fleet.registry.models import DeviceType
from fleet.web import clock

BATCH = 500
# Stays of a type's packs up to which a forecast takes about a second.
QUICK = 1000
# The plot's dates: from today, every half year, as far as a pack can matter to a plan.
CURVE_YEARS = np.arange(0, 5.01, 0.5)
_NUMBERS = [field.name for field in Forecast._meta.concrete_fields if field.name not in {"id", "pack"}]  # noqa: SLF001 - Django's public name for it

Progress = Callable[[int, int | None], None]


def refresh_forecasts(
    *, at: datetime, device_type: DeviceType | None = None, progress: Progress | None = None
) -> dict[str, int]:
    """Forecast every fitted pack anew (of one type, or of all). Safe to run again; short writes, so pages keep going.

    Derived rows: they leave no trail of their own, since each follows from tests and fittings that do.
    """
    today = clock.local_day(at)
    histories = [type_history(each, today) for each in DeviceType.objects.order_by("pk")]
    records = {history.device_type.pk: history.record() for history in histories}
    wanted = [each for each in histories if device_type is None or each.device_type == device_type]
    counts = {"forecast": 0, "without enough data": 0}
    for done, history in enumerate(wanted):
        if progress:
            progress(done, len(wanted))
        for name, number in _refresh_type(history, records, at).items():
            counts[name] += number
    _drop_outdated()
    return counts


def refresh_if_quick(device_type: DeviceType) -> bool:
    """Forecast a type anew while somebody waits, if it has few enough packs; else the night does it. True if done."""
    if Fitting.objects.filter(pack__for_type=device_type).count() > QUICK:
        return False
    refresh_forecasts(at=clock.now(), device_type=device_type)
    return True


def _refresh_type(history: TypeHistory, records: Mapping[int, TypeRecord], at: datetime) -> dict[str, int]:
    rows: list[Forecast] = []
    by_level = _by_level(history)
    base: TypeForecast | None = None
    prior = _prior(history, records)
    correction = _recalibration(history.device_type)
    for level, group in by_level.items():
        result = forecast(
            history.columns,
            history.packs,
            level=float(level),
            prior=prior,
            recalibration=correction,
            fit=base.fit if base else None,
            measured=history.measured,
        )
        base = base or result
        rows += _rows(group, result, history, at)
    _write(rows)
    missing = sum(row.basis == Forecast.Basis.NOT_ENOUGH for row in rows)
    return {"forecast": len(rows) - missing, "without enough data": missing}


def _by_level(history: TypeHistory) -> dict[Decimal, list[FittedPack]]:
    """The fitted packs by the replacement level of their driver: most share their type's."""
    groups: dict[Decimal, list[FittedPack]] = {}
    for fitted in history.fitted:
        groups.setdefault(fitted.level, []).append(fitted)
    return groups


def _prior(history: TypeHistory, records: Mapping[int, TypeRecord]) -> FadePrior:
    """What is assumed of a type before its own tests: from other types, else from its chemistry's stated life."""
    own = history.device_type
    others = [record for pk, record in records.items() if pk != own.pk and len(record.tests.pack)]
    life = ChemistryLife.objects.filter(chemistry__iexact=own.chemistry).first() if own.chemistry else None
    if others or len(history.tests) or life is None:
        return type_prior(own.chemistry, others, own=records[own.pk])
    return assumed_prior(float(life.life_years), source=f"{life}, {life.source}")


def _recalibration(device_type: DeviceType) -> Recalibration:
    latest = Backtest.objects.filter(device_type=device_type).first()
    return (
        Recalibration(latest.correction_a, latest.correction_b, latest.correction_ranks) if latest else Recalibration()
    )


def _rows(group: Sequence[FittedPack], result: TypeForecast, history: TypeHistory, at: datetime) -> Iterator[Forecast]:
    set_aside, jumps = (_tests_by_row(marks, history) for marks in (result.set_aside, result.jump))
    for first in range(0, len(group), BATCH):
        some = group[first : first + BATCH]
        fans = result.course(np.array([fitted.row for fitted in some]), CURVE_YEARS)
        for place, fitted in enumerate(some):
            row = _row(fitted, result, at, history)
            row.doubtful, row.jumps = set_aside.get(fitted.row, []), jumps.get(fitted.row, [])
            if row.basis != Forecast.Basis.NOT_ENOUGH:
                row.curve = _curve(fans[:, :, place].T.tolist(), history.today)
            yield row


def _tests_by_row(marks: BoolArray, history: TypeHistory) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for test in np.flatnonzero(marks):
        found.setdefault(int(history.columns.pack[test]), []).append(history.tests[test].pk)
    return found


def _row(fitted: FittedPack, result: TypeForecast, at: datetime, history: TypeHistory) -> Forecast:
    row = fitted.row
    made = Forecast(
        pack_id=fitted.pack_id,
        device_id=fitted.device_id,
        made_at=at,
        basis=_basis(result, row),
        tests_used=history.full_tests.get(row, 0),
        level=fitted.level,
        already_below=bool(result.already_below[row]),
        last_test_below=bool(result.last_test_below[row]),
        bound_contradicted=bool(result.bound_contradicted[row]),
        has_set_aside=bool(result.has_set_aside[row]),
        has_jump=bool(result.has_jump[row]),
        next_visit=fitted.visit,
        following_visit=fitted.following,
    )
    if made.basis == Forecast.Basis.NOT_ENOUGH:
        made.why_not = _why_not(result, row, history)
        return made
    made.fraction_today, made.fraction_sd = float(result.fraction_today[row]), float(result.fraction_sd[row])
    made.crossing_on = history.date_at(row, result.crossing_median_age[row])
    made.crossing_early = history.date_at(row, result.crossing_low_age[row])
    made.crossing_late = history.date_at(row, result.crossing_high_age[row])
    made.chance_before_visit = _chance(result.chance_before_visit[row])
    made.chance_before_following = _chance(result.chance_before_following[row])
    made.chance_uncorrected = _chance(result.chance_uncorrected[row])
    return made


def _basis(result: TypeForecast, row: int) -> Forecast.Basis:
    if result.uncertain[row]:
        return Forecast.Basis.NOT_ENOUGH
    if result.informed == KIN:
        return Forecast.Basis.BORROWED
    if result.informed == ASSUMED:
        return Forecast.Basis.ASSUMED
    return Forecast.Basis.OWN_TESTS if result.own_tests[row] else Forecast.Basis.TYPE_ONLY


def _why_not(result: TypeForecast, row: int, history: TypeHistory) -> str:
    early, late = (history.date_at(row, age[row]) for age in (result.crossing_low_age, result.crossing_high_age))
    beyond = history.today + timedelta(days=15 * 365)
    begin = f"{max(early, history.today):%b %Y}" if early else f"after {beyond:%Y}"
    end = f"{late:%b %Y}" if late else f"beyond {beyond:%Y}"
    between = f"anywhere between {begin} and {end}" if early or late else begin
    return f"Not enough data: such a pack may reach its level {between}."


def _chance(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _curve(fan: Sequence[Sequence[float]], today: date) -> list[list[Any]]:
    days = [today + timedelta(days=round(years * 365.25)) for years in CURVE_YEARS]
    return [[day.isoformat(), *(round(value, 4) for value in values)] for day, values in zip(days, fan, strict=True)]


def _write(rows: Sequence[Forecast]) -> None:
    for start in range(0, len(rows), BATCH):
        Forecast.objects.bulk_create(
            rows[start : start + BATCH],
            update_conflicts=True,
            unique_fields=["pack"],
            update_fields=_NUMBERS,
        )


def _drop_outdated() -> None:
    """A forecast of a pack that is in no driver any more says nothing; it is derived, so it may go."""
    still = Fitting.objects.filter(removed_on__isnull=True).exclude(device__condition=Condition.RETIRED)
    Forecast.objects.exclude(pack__in=still.values("pack")).delete()


def remove_from_retired(*, by: Actor) -> int:
    """Take the packs out of retired drivers on record, each with its reason; the count is returned."""
    held = Fitting.objects.filter(removed_on__isnull=True, device__condition=Condition.RETIRED)
    stays = list(held.select_related("device"))
    for stay in stays:
        with transaction.atomic():
            on = max(stay.device.retired_on or clock.today(), stay.fitted_on)
            remove(stay.device, on=on, why=Fitting.Why.RETIRED, by=by)
    return len(stays)
