"""The nightly forecast: rows in, arrays to the core, rows out. One device type at a time."""

import logging
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from itertools import islice

import numpy as np
from django.db import OperationalError, transaction

from fleet.audit.actors import Actor
from fleet.batteries.actions.history import FittedPack, TypeHistory, type_history
from fleet.batteries.actions.outlooks import Group, new_pack, stored_fit, stored_vouched, type_outlook
from fleet.batteries.actions.packs import remove
from fleet.batteries.actions.priors import Beforehand, beforehand, lends, recalibration_of
from fleet.batteries.actions.rows import made
from fleet.batteries.models import Fitting, Forecast, TypeOutlook
from fleet.batteries.queries.policy import limits_of_type
from fleet.core.battery.bend.borrowing import TypeRecord
from fleet.core.battery.bend.fit import FadeFit
from fleet.core.battery.forecast import TypeForecast, forecast
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.registry.models import DeviceType
from fleet.web import clock

BATCH = 500
# Stays of a type's packs up to which a forecast takes about a second.
QUICK = 1000
_NUMBERS = [field.name for field in Forecast._meta.concrete_fields if field.name not in {"id", "pack"}]  # noqa: SLF001 - Django's public name for it
_TYPE_NUMBERS = [field.name for field in TypeOutlook._meta.concrete_fields if field.name not in {"id", "device_type"}]  # noqa: SLF001 - Django's public name for it

logger = logging.getLogger("fleet.batteries")
Progress = Callable[[int, int | None], None]


class TypesFailedError(BenchwardError):
    """Some types could not be forecast; the others were."""


def refresh_forecasts(
    *, at: datetime, device_type: DeviceType | None = None, progress: Progress | None = None
) -> dict[str, int]:
    """Forecast every fitted pack anew (of one type, or of all). Safe to run again; short writes, so pages keep going.

    Derived rows: they leave no trail of their own, since each follows from tests and fittings that do. A type that
    fails keeps the forecasts it had and stops no other; TypesFailedError names it once the others are done.
    """
    failed: dict[DeviceType, str] = {}
    histories, lenders = _histories(clock.local_day(at), failed)
    wanted = [each for each in histories if device_type is None or each.device_type == device_type]
    counts = {"forecast": 0, "without enough data": 0}
    for done, history in enumerate(wanted):
        if progress:
            progress(done, len(wanted))
        with _kept_apart(history.device_type, failed):
            if history.pack_ids:
                for name, number in _refresh_type(history, beforehand(history, lenders), at).items():
                    counts[name] += number
    _drop_outdated()
    named = [f"{each}: {why}" for each, why in failed.items() if device_type in {None, each}]
    if named:
        message = f"Not forecast, and so left as before: {'; '.join(named)}. All other types were done: {counts}."
        raise TypesFailedError(message)
    return counts


def _histories(today: date, failed: dict[DeviceType, str]) -> tuple[list[TypeHistory], dict[int, TypeRecord]]:
    """Return all types' histories, and the records of those that lend by their key."""
    histories: list[TypeHistory] = []
    lenders: dict[int, TypeRecord] = {}
    for each in DeviceType.objects.order_by("pk"):
        with _kept_apart(each, failed):
            history = type_history(each, today)
            if lends(history.record):
                lenders[each.pk] = history.record
            histories.append(history)
    return histories, lenders


@contextmanager
def _kept_apart(device_type: DeviceType, failed: dict[DeviceType, str]) -> Iterator[None]:
    """Note what went wrong with a type, so that the others go on; without a database none can."""
    try:
        yield
    except OperationalError:
        raise
    except Exception as error:
        logger.exception("forecasts of %s", device_type)
        failed[device_type] = f"{type(error).__name__}: {error}"


def refresh_if_quick(device_type: DeviceType) -> bool:
    """Forecast a type's packs anew while somebody waits, if they are few enough; else the night does it. True if done.

    With the numbers of the type as the last night left them: one more test hardly moves those, but much its own pack.
    What the type comes to as a whole waits for the night. What goes wrong waits too: a test that
    was logged is logged.
    """
    done, failed = False, dict[DeviceType, str]()
    with _kept_apart(device_type, failed):
        done = _refresh_at_once(device_type)
    return done and not failed


def _refresh_at_once(device_type: DeviceType) -> bool:
    if Fitting.objects.filter(pack__for_type=device_type).count() > QUICK:
        return False
    outlook = TypeOutlook.objects.filter(device_type=device_type).first()
    fit = stored_fit(outlook) if outlook else None
    if outlook and fit:
        now, known = clock.now(), Beforehand(fit.prior, stored_vouched(outlook))
        _write(_Night(type_history(device_type, clock.local_day(now)), known, now, fit).rows())
        return True
    if Fitting.objects.count() > QUICK:
        return False
    refresh_forecasts(at=clock.now(), device_type=device_type)
    return True


class _Night:
    """One type's forecasts at each of the levels that hold for its drivers; the numbers are fitted once."""

    def __init__(self, history: TypeHistory, known: Beforehand, at: datetime, fit: FadeFit | None = None) -> None:
        self._history, self._known, self._at = history, known, at
        self._correction = recalibration_of(history.device_type)
        self._base = self._forecast(history.device_type.replacement_level, fit)
        self._life = new_pack(self._base)
        self._groups = [
            (fitted, self._base if float(level) == self._base.level else self._forecast(level, self._base.fit))
            for level, fitted in _by_level(history).items()
        ]

    def rows(self) -> Iterator[Forecast]:
        """Give the row of each fitted pack."""
        limits = limits_of_type(self._history.device_type, self._life.middle, self._life.low)
        for fitted, result in self._groups:
            yield from made(fitted, result, self._history, limits, self._at)

    def outlook(self) -> TypeOutlook:
        """Give the row of the type."""
        groups = [Group(np.array([each.row for each in fitted]), result) for fitted, result in self._groups]
        return type_outlook(self._history, self._base, groups, self._life, self._at)

    def _forecast(self, level: Decimal, fit: FadeFit | None) -> TypeForecast:
        found = forecast(
            self._history.columns,
            self._history.packs,
            level=float(level),
            prior=self._known.prior,
            recalibration=self._correction,
            fit=fit,
            measured=self._history.measured,
            vouched_years=self._known.vouched_years,
        )
        return _without_ages(found, self._history, level)


def _without_ages(found: TypeForecast, history: TypeHistory, level: Decimal) -> TypeForecast:
    """Return the forecast with no number for packs whose age nobody knows, under the level only by their own test."""
    ageless, below = history.is_ageless, history.ageless_below(level)
    return replace(
        found,
        already_below=np.where(ageless, below, found.already_below),
        last_test_below=found.last_test_below | below,
        uncertain=found.uncertain | ageless,
    )


def _refresh_type(history: TypeHistory, known: Beforehand, at: datetime) -> dict[str, int]:
    night = _Night(history, known, at)
    outlook = night.outlook()
    written = _write(night.rows())
    _write_outlook(outlook)
    missing = written.pop(Forecast.Basis.NOT_ENOUGH, 0)
    return {"forecast": written.total(), "without enough data": missing}


def _by_level(history: TypeHistory) -> dict[Decimal, list[FittedPack]]:
    """The fitted packs by the replacement level of their driver: most share their type's."""
    groups: dict[Decimal, list[FittedPack]] = {}
    for fitted in history.fitted:
        groups.setdefault(fitted.level, []).append(fitted)
    return groups


def _write_outlook(row: TypeOutlook) -> None:
    TypeOutlook.objects.bulk_create(
        [row], update_conflicts=True, unique_fields=["device_type"], update_fields=_TYPE_NUMBERS
    )


def _write(rows: Iterator[Forecast]) -> Counter[str]:
    """Write the rows a batch at a time; how many rest on what is returned."""
    written: Counter[str] = Counter()
    while batch := list(islice(rows, BATCH)):
        Forecast.objects.bulk_create(batch, update_conflicts=True, unique_fields=["pack"], update_fields=_NUMBERS)
        written.update(row.basis for row in batch)
    return written


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
