"""The nightly forecast: rows in, arrays to the core, rows out. One device type at a time."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

import numpy as np
from django.db import transaction

from fleet.audit.actors import Actor
from fleet.batteries.actions.packs import remove
from fleet.batteries.models import Fitting, Forecast, RuntimeTest
from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.forecast import Packs, RuntimeTests, TypeForecast, forecast
from fleet.core.errors import NotEnoughDataError
from fleet.core.lifecycle import Condition
from fleet.registry.models import DeviceType
from fleet.schedules.models import Due
from fleet.web import clock

BATCH = 500
# Stays of a type's packs up to which a forecast takes about a second.
QUICK = 1000
YEAR = 365.25
# The plot's dates: from today, every half year, as far as a pack can matter to a plan.
CURVE_YEARS = np.arange(0, 5.01, 0.5)
# Standard normal quantile of 0.90: the fan shows the 10, 50 and 90 % fractions.
Z90 = 1.2815515655446004
_NUMBERS = [field.name for field in Forecast._meta.concrete_fields if field.name not in {"id", "pack"}]  # noqa: SLF001 - Django's public name for it

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True, slots=True)
class _Fitted:
    """A pack in a driver: where it is, since when, and the driver's next visit."""

    fitting: Fitting
    row: int
    level: Decimal
    visit: date | None


def refresh_forecasts(
    *, at: datetime, device_type: DeviceType | None = None, progress: Progress | None = None
) -> dict[str, int]:
    """Forecast every fitted pack anew (of one type, or of all). Safe to run again; short writes, so pages keep going.

    Derived rows: they leave no trail of their own, since each follows from tests and fittings that do.
    """
    types = [device_type] if device_type else list(DeviceType.objects.prefetch_related("rated_runtimes"))
    counts = {"forecast": 0, "without enough data": 0}
    for done, each in enumerate(types):
        if progress:
            progress(done, len(types))
        for name, number in _refresh_type(each, at).items():
            counts[name] += number
    _drop_outdated()
    return counts


def refresh_if_quick(device_type: DeviceType) -> bool:
    """Forecast a type anew while somebody waits, if it has few enough packs; else the night does it. True if done."""
    if Fitting.objects.filter(pack__for_type=device_type).count() > QUICK:
        return False
    refresh_forecasts(at=clock.now(), device_type=device_type)
    return True


def _refresh_type(device_type: DeviceType, at: datetime) -> dict[str, int]:
    history = _History(device_type, clock.local_day(at))
    rows: list[Forecast] = []
    for level, group in history.by_level().items():
        try:
            result = forecast(history.tests(), history.packs(), level=float(level))
        except NotEnoughDataError as reason:
            rows += [_without(fitted, at, str(reason), history) for fitted in group]
        else:
            rows += [_row(fitted, result, at, history) for fitted in group]
    _write(rows)
    missing = sum(row.basis == Forecast.Basis.NOT_ENOUGH for row in rows)
    return {"forecast": len(rows) - missing, "without enough data": missing}


class _History:
    """All packs a type ever had (rows of the arrays) with their tests, and which of them are fitted now."""

    def __init__(self, device_type: DeviceType, today: date) -> None:
        self.today = today
        stays = list(
            Fitting.objects.filter(pack__for_type=device_type)
            .select_related("device__device_type")
            .order_by("pack_id", "fitted_on")
        )
        self.row_of: dict[int, int] = {}
        self.first_fitted: list[date] = []
        for stay in stays:
            if stay.pack_id not in self.row_of:
                self.row_of[stay.pack_id] = len(self.first_fitted)
                self.first_fitted.append(stay.fitted_on)
        self.fitted = self._fitted([stay for stay in stays if stay.removed_on is None])
        self._tests = list(
            RuntimeTest.objects.filter(pack__for_type=device_type, voided_at__isnull=True)
            .order_by("pack_id", "started_at")
            .values_list("pack_id", "started_at", "fraction", "stop", "short_charge", "outside_table")
        )

    def _fitted(self, stays: Sequence[Fitting]) -> list[_Fitted]:
        visits = _next_visits(stay.device_id for stay in stays)
        return [
            _Fitted(stay, self.row_of[stay.pack_id], stay.device.replacement_level, visits.get(stay.device_id))
            for stay in stays
            if stay.device.condition != Condition.RETIRED
        ]

    def by_level(self) -> dict[Decimal, list[_Fitted]]:
        """The fitted packs by the replacement level of their driver: most share their type's."""
        groups: dict[Decimal, list[_Fitted]] = {}
        for fitted in self.fitted:
            groups.setdefault(fitted.level, []).append(fitted)
        return groups

    def tests(self) -> RuntimeTests:
        """The columns of all tests that were not voided. A short charge or a rate outside the table is no value."""
        known = [test for test in self._tests if test[0] in self.row_of]
        flat = np.array([test[3] == RuntimeTest.Stop.RAN_FLAT for test in known], dtype=bool)
        short = np.array([test[4] for test in known], dtype=bool)
        outside = np.array([test[5] for test in known], dtype=bool)
        return RuntimeTests(
            pack=np.array([self.row_of[test[0]] for test in known], dtype=np.int64),
            age_years=np.array([self._age(self.row_of[test[0]], clock.local_day(test[1])) for test in known]),
            fraction=np.array([test[2] for test in known], dtype=np.float64),
            usable=flat & ~short & ~outside,
            stopped_early=~flat & ~short & ~outside,
        )

    def packs(self) -> Packs:
        """Ages of all packs today, and at the next visit for those fitted."""
        today = np.array([self._age(row, self.today) for row in range(len(self.first_fitted))])
        visit = np.full(len(self.first_fitted), np.nan)
        for fitted in self.fitted:
            if fitted.visit:
                visit[fitted.row] = self._age(fitted.row, fitted.visit)
        return Packs(age_today=today, age_next_visit=visit)

    def tests_of(self, row: int) -> int:
        """How many full tests a pack has."""
        return self._full_tests.get(row, 0)

    @cached_property
    def _full_tests(self) -> Counter[int]:
        return Counter(
            self.row_of[pack_id]
            for pack_id, _, _, stop, short, outside in self._tests
            if stop == RuntimeTest.Stop.RAN_FLAT and not short and not outside and pack_id in self.row_of
        )

    def _age(self, row: int, on: date) -> float:
        return max((on - self.first_fitted[row]).days, 0) / YEAR

    def date_at(self, row: int, age_years: float) -> date | None:
        """The date a pack reaches an age; None where the crossing lies beyond the horizon."""
        if not np.isfinite(age_years):
            return None
        return self.first_fitted[row] + timedelta(days=round(age_years * YEAR))


def _next_visits(device_ids: Iterable[int]) -> dict[int, date]:
    ids, visits = sorted(device_ids), dict[int, date]()
    for start in range(0, len(ids), BATCH):
        dues = Due.objects.filter(device__in=ids[start : start + BATCH], suspended=False)
        for device_id, due_on in dues.order_by("-due_on").values_list("device_id", "due_on"):
            visits[device_id] = due_on
    return visits


def _without(fitted: _Fitted, at: datetime, why: str, history: _History) -> Forecast:
    return Forecast(
        pack_id=fitted.fitting.pack_id,
        device_id=fitted.fitting.device_id,
        made_at=at,
        basis=Forecast.Basis.NOT_ENOUGH,
        why_not=why[:200],
        tests_used=history.tests_of(fitted.row),
        level=fitted.level,
        next_visit=fitted.visit,
    )


def _row(fitted: _Fitted, result: TypeForecast, at: datetime, history: _History) -> Forecast:
    row = fitted.row
    chance = float(result.chance_before_visit[row])
    return Forecast(
        pack_id=fitted.fitting.pack_id,
        device_id=fitted.fitting.device_id,
        made_at=at,
        basis=Forecast.Basis.OWN_TESTS if result.own_tests[row] else Forecast.Basis.TYPE_ONLY,
        tests_used=history.tests_of(row),
        fraction_today=float(result.fraction_today[row]),
        fraction_sd=float(result.fraction_sd[row]),
        level=fitted.level,
        already_below=bool(result.already_below[row]),
        last_test_below=bool(result.last_test_below[row]),
        bound_contradicted=bool(result.bound_contradicted[row]),
        has_set_aside=bool(result.has_set_aside[row]),
        crossing_on=history.date_at(row, result.crossing_median_age[row]),
        crossing_early=history.date_at(row, result.crossing_low_age[row]),
        crossing_late=history.date_at(row, result.crossing_high_age[row]),
        next_visit=fitted.visit,
        chance_before_visit=None if np.isnan(chance) else chance,
        curve=_curve(result, row, history),
    )


def _curve(result: TypeForecast, row: int, history: _History) -> list[list[Any]]:
    ages = (history.today - history.first_fitted[row]).days / YEAR + CURVE_YEARS
    middle, sd = _course(result, row, ages)
    days = [history.today + timedelta(days=round(years * YEAR)) for years in CURVE_YEARS]
    fan = np.stack([middle - Z90 * sd, middle, middle + Z90 * sd], axis=1).clip(0, 1.5).round(4)
    return [[day.isoformat(), *numbers] for day, numbers in zip(days, fan.tolist(), strict=True)]


def _course(result: TypeForecast, row: int, ages: FloatArray) -> tuple[FloatArray, FloatArray]:
    line = result.posterior.of(np.full(len(ages), row))
    return line.fraction_at(ages), line.fraction_sd_at(ages)


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
