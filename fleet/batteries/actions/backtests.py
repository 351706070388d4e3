"""Holding the forecasts of past dates against what became known since, and keeping the scores."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from fleet.batteries.actions.history import YEAR, TypeHistory, type_history
from fleet.batteries.models import Backtest, Fitting
from fleet.core.battery.backtest import (
    BEST,
    CORRECTED,
    LEAST_TESTS,
    BacktestPacks,
    BacktestResult,
    Forecasts,
    Record,
    backtest,
    joined,
)
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.scores import rank_shares, ranks, reliability
from fleet.core.battery.ways import WAYS
from fleet.core.due import add_months
from fleet.registry.models import DeviceType
from fleet.web import clock

#: Months between the dates forecast from, and how many of those there are at most.
MONTHS, MOST_ORIGINS = 6, 10
#: The chance at which a pack is taken to be replaced, for the life given away (own choice: the assumed risk limit).
LIMIT = 0.1
#: Packs are told apart by their tests up to so many.
MOST_TESTS = 3
# A day's tests are known at its end.
_END_OF_DAY = 0.5

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class _Tested:
    """A type with its backtest, the day that its record's clock starts on, and the months between origins."""

    device_type: DeviceType
    result: BacktestResult
    first: date
    months: int

    def origins(self) -> list[dict[str, Any]]:
        """The dates forecast from, with the number of forecasts of which something is known since."""
        made = self.result.forecasts.origin
        return [
            {"on": _day(self.first, at), "forecasts": int(np.count_nonzero(made == at))} for at in self.result.origins
        ]


def run_backtests(
    *, at: datetime, device_type: DeviceType | None = None, months: int = MONTHS, progress: Progress | None = None
) -> list[Backtest]:
    """Backtest one type, or every type with packs and all together; each run is kept beside the earlier ones.

    Derived rows: they leave no trail of their own, since each follows from tests and fittings that do.
    """
    every = DeviceType.objects.filter(packs__isnull=False).distinct().order_by("pk")
    types = [device_type] if device_type else list(every)
    tested: list[_Tested] = []
    for done, each in enumerate(types):
        found = _test(each, clock.local_day(at), months, _within(progress, done, len(types)))
        tested += [found] if found else []
    rows = [_row(found.device_type, [found], found.result.recalibration, at) for found in tested]
    if device_type is None:
        rows.append(_row(None, tested, Recalibration(), at))
    if progress:
        progress(len(types) * MOST_ORIGINS, len(types) * MOST_ORIGINS)
    return Backtest.objects.bulk_create(rows)


def _within(progress: Progress | None, done: int, types: int) -> Callable[[int, int], None]:
    """Tell of the dates within a type as steps of the whole, every type taking as many."""

    def told(origins: int, of: int) -> None:
        if progress:
            progress(done * MOST_ORIGINS + origins * MOST_ORIGINS // max(of, 1), types * MOST_ORIGINS)

    return told


def _test(device_type: DeviceType, today: date, months: int, progress: Callable[[int, int], None]) -> _Tested | None:
    """Backtest a type; None for one without a fitted pack."""
    history = type_history(device_type, today)
    if not history.pack_ids:
        return None
    first = min(history.first_fitted)
    dates = _origins(history, today, months)
    origins = np.array([_years(first, on) for on in dates])
    result = backtest(_record(history, first), origins, until=_years(first, today), progress=progress)
    return _Tested(device_type, result, first, months)


def _origins(history: TypeHistory, today: date, months: int) -> list[date]:
    """The dates to forecast from: every so many months back from today, as far as there are tests, the first first."""
    tested = sorted(clock.local_day(test.started_at) for test in history.tests)
    dates = [add_months(today, -months * back) for back in range(1, MOST_ORIGINS + 1)]
    return [on for on in reversed(dates) if len(tested) >= LEAST_TESTS and on >= tested[LEAST_TESTS - 1]]


def _record(history: TypeHistory, first: date) -> Record:
    """The type's record as the core takes it, its clock starting on the day `first`.

    A pack's group is the pool of the driver it was in last. Its last removal counts; being moved is none.
    One of which nobody knows the age was never in service here.
    """
    fitted = np.array([_years(first, on) - _END_OF_DAY / YEAR for on in history.first_fitted])
    removed, worn = np.full(len(fitted), np.nan), np.zeros(len(fitted), dtype=np.bool_)
    group = np.full(len(fitted), "", dtype="U10")
    stays = Fitting.objects.filter(pack__for_type=history.device_type).order_by("fitted_on", "pk")
    for pack_id, removed_on, why, pool in stays.values_list("pack", "removed_on", "removed_why", "device__pool"):
        row = history.row_of[pack_id]
        removed[row] = np.nan if removed_on is None else _years(first, removed_on)
        worn[row], group[row] = why == Fitting.Why.WORN, pool
    removed, worn = np.where(history.is_ageless, fitted, removed), worn & ~history.is_ageless
    packs = BacktestPacks(fitted, removed, worn, history.packs.entry_age, group)
    return Record(history.columns, packs, float(history.device_type.replacement_level))


def _years(first: date, on: date) -> float:
    return ((on - first).days + _END_OF_DAY) / YEAR


def _day(first: date, at: float) -> str:
    return (first + timedelta(days=round(at * YEAR - _END_OF_DAY))).isoformat()


def _row(
    device_type: DeviceType | None, tested: Sequence[_Tested], correction: Recalibration, at: datetime
) -> Backtest:
    forecasts = joined([each.result.forecasts for each in tested])
    origins = _origins_of_all(tested)
    return Backtest(
        device_type=device_type,
        made_at=at,
        first_origin=date.fromisoformat(origins[0]["on"]) if origins else None,
        last_origin=date.fromisoformat(origins[-1]["on"]) if origins else None,
        origins=len(origins),
        packs=len(np.unique(forecasts.pack)),
        result=_result(forecasts, origins, tested) if len(forecasts) else {},
        correction_a=correction.a,
        correction_b=correction.b,
        correction_ranks=correction.ranks,
        why_not="" if len(forecasts) else _why_not(origins),
    )


def _origins_of_all(tested: Sequence[_Tested]) -> list[dict[str, Any]]:
    counts: dict[str, int] = {}
    for each in tested:
        for origin in each.origins():
            counts[origin["on"]] = counts.get(origin["on"], 0) + origin["forecasts"]
    return [{"on": on, "forecasts": counts[on]} for on in sorted(counts)]


def _why_not(origins: Sequence[dict[str, Any]]) -> str:
    if origins:
        return "No pack that was forecast at a past date has been tested or worn out since."
    return f"On no past date were {LEAST_TESTS} full tests on record and a pack in service."


def _result(forecasts: Forecasts, origins: list[dict[str, Any]], tested: Sequence[_Tested]) -> dict[str, Any]:
    """All that the page shows, in a form that stays readable: shares from 0 to 1, times in months."""
    few = np.minimum(forecasts.tests, MOST_TESTS)
    seen = forecasts.of(np.isfinite(forecasts.next_age))
    return {
        "limit": LIMIT,
        "months": tested[0].months,
        "origins": origins,
        "ways": {way: asdict(forecasts.score(way, limit=LIMIT)) for way in (*WAYS, CORRECTED)},
        "tests": [_part(str(count), forecasts.of(few == count)) for count in np.unique(few)],
        "pools": [_part(str(pool), forecasts.of(forecasts.group == pool)) for pool in np.unique(forecasts.group)],
        "bins": {way: [asdict(each) for each in _reliability(seen, way)] for way in (BEST, CORRECTED)},
        "ranks": {way: _rank_shares(forecasts, way) for way in (BEST, CORRECTED)},
    }


def _part(name: str, forecasts: Forecasts) -> dict[str, Any]:
    before, after = (forecasts.score(way, limit=LIMIT) for way in (BEST, CORRECTED))
    return {"name": name, "before": asdict(before), "after": asdict(after)}


def _reliability(seen: Forecasts, way: str) -> list[Any]:
    return reliability(seen.law(way).chance_by(seen.next_age), seen.next_below)


def _rank_shares(forecasts: Forecasts, way: str) -> list[float]:
    found = rank_shares(*ranks(forecasts.law(way), forecasts.low, forecasts.high))
    return [round(float(share), 4) for share in found]
