"""All that is on record of a type's packs, as the columns that the forecasts of the core take.

A pack is as old as its first stay in a driver; where only the latest possible day of that is known, as the day it was
made or first tested on, if that is earlier: rather too old than as good as new. Where neither is on record, its age is
not known: it stands among the packs, but its tests are kept out of the type's. A pack came into the record new, or
later: at its first test, or on the day that its fitting was written down, whichever is earlier. A fitting written down
within SEEN_NEW days counts as new.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

import numpy as np

from fleet.audit.models import TrailEntry
from fleet.batteries.models import CycleCount, Fitting, Pack, RuntimeTest
from fleet.core.battery.arrays import BoolArray, FloatArray
from fleet.core.battery.bend.borrowing import TypeRecord
from fleet.core.battery.bend.histories import OUTSIDE_TABLE, PLAIN, SHORT_CHARGE, FadeTests
from fleet.core.battery.foreseen import Packs
from fleet.core.battery.marks import histories_of
from fleet.core.battery.runtime import at_reference_temperature, fractions_meet_level, shortfall
from fleet.core.due import add_months
from fleet.core.lifecycle import Condition
from fleet.registry.models import DeviceType
from fleet.schedules.models import Due, Plan
from fleet.web import clock

YEAR = 365.25
SEEN_NEW = 60
#: Between the next visit and the one after it, where the plan counts hours only.
USUAL_MONTHS = 12
#: Plans at whose visits a pack can be replaced (own choice).
_AT_HAND = (Plan.Kind.SERVICE, Plan.Kind.BATTERY)
#: A count of cycles says how much a pack is used from this age on; rates differ by this factor at most (own choice).
_LEAST_USED_YEARS, _WIDEST_USE = 0.25, 5.0
#: A test is not corrected for a temperature at which a pack would carry less than this share (own choice).
_LEAST_GAIN = 0.2


class FittedPack(NamedTuple):
    """A pack in a driver that is not retired: its row, the level that holds, the driver's next two visits and home."""

    pack_id: int
    device_id: int
    row: int
    level: Decimal
    visit: date | None
    following: date | None
    visit_months: int
    pool: str
    critical: bool


class _Stay(NamedTuple):
    pack_id: int
    device_id: int
    fitted_on: date
    removed_on: date | None
    removed_why: str
    condition: str
    own_level: Decimal | None
    pool: str
    critical: bool
    day_known: bool
    made_on: date | None


class LoggedTest(NamedTuple):
    """A test that was not voided, as it stands in the record."""

    pk: int
    pack_id: int
    started_at: datetime
    fraction: float
    stop: str
    short_charge: bool
    outside_table: bool
    charge_hours: Decimal
    own_charging_hours: Decimal | None
    ambient_c: Decimal | None
    rack_position: str
    by_name: str

    @property
    def is_full(self) -> bool:
        """Whether it is a plain value of its pack."""
        return self.stop == RuntimeTest.Stop.RAN_FLAT and not self.short_charge and not self.outside_table


@dataclass(frozen=True)
class TypeHistory:
    """The packs a type ever had, one row each in the order of `pack_ids`, with their tests and those fitted now.

    `ageless`: the rows of packs of which nobody knows the age; `undated`: their tests, which are not among `tests`.
    """

    device_type: DeviceType
    today: date
    pack_ids: list[int]
    first_fitted: list[date]
    tests: list[LoggedTest]
    fitted: list[FittedPack]
    worn: frozenset[int]
    ageless: frozenset[int]
    undated: list[LoggedTest]

    @cached_property
    def row_of(self) -> dict[int, int]:
        """The row of each pack."""
        return {pack_id: row for row, pack_id in enumerate(self.pack_ids)}

    @cached_property
    def columns(self) -> FadeTests:
        """The tests, at the type's reference temperature where it states how runtime goes with it."""
        rows = self.tests
        needed = [float(row.own_charging_hours or self.device_type.charging_hours) for row in rows]
        missing = shortfall(np.array([float(row.charge_hours) for row in rows]), np.array(needed))
        return FadeTests.of(
            pack=np.array([self.row_of[row.pack_id] for row in rows], dtype=np.int64),
            age_years=np.array([self.age(self.row_of[row.pack_id], clock.local_day(row.started_at)) for row in rows]),
            fraction=self._at_reference(),
            bound=np.array([row.stop != RuntimeTest.Stop.RAN_FLAT for row in rows], dtype=np.bool_),
            kind=np.array([_kind(row) for row in rows], dtype=np.int64),
            shortfall=np.where([row.short_charge for row in rows], missing, 0.0),
        )

    def _at_reference(self) -> FloatArray:
        """As measured where a temperature lies so far off that no correction reaches it: likely a slip of the pen."""
        coefficient = float(self.device_type.temperature_coefficient or 0)
        reference = float(self.device_type.reference_temperature_c)
        ambient = np.array([np.nan if row.ambient_c is None else float(row.ambient_c) for row in self.tests])
        ambient[1 + coefficient * (ambient - reference) < _LEAST_GAIN] = np.nan
        return at_reference_temperature(self.measured, ambient, coefficient=coefficient, reference_c=reference)

    @cached_property
    def measured(self) -> FloatArray:
        """The fractions as measured, for verdicts."""
        return np.array([row.fraction for row in self.tests], dtype=np.float64)

    @cached_property
    def is_ageless(self) -> BoolArray:
        """Whether nobody knows the age of each pack (P,)."""
        marks = np.zeros(len(self.pack_ids), dtype=np.bool_)
        marks[list(self.ageless)] = True
        return marks

    def ageless_below(self, level: Decimal) -> BoolArray:
        """Whether each pack (P,) is of an age that nobody knows and was under the level at its latest full test."""
        marks = np.zeros(len(self.pack_ids), dtype=np.bool_)
        for test in self.undated:
            if test.is_full:
                meets = fractions_meet_level(np.array([test.fraction]), float(level))
                marks[self.row_of[test.pack_id]] = not meets[0]
        return marks

    @cached_property
    def packs(self) -> Packs:
        """Ages and marks of all packs; visits of those fitted."""
        visit, following = (np.full(len(self.pack_ids), np.nan) for _ in range(2))
        for fitted in self.fitted:
            if fitted.visit and fitted.following:
                visit[fitted.row] = self.age(fitted.row, fitted.visit)
                following[fitted.row] = self.age(fitted.row, fitted.following)
        return Packs(
            age_today=np.array([self.age(row, self.today) for row in range(len(self.pack_ids))]),
            age_next_visit=visit,
            age_following_visit=following,
            entry_age=self._entry_ages(),
            removed=np.array([pack_id in self.worn for pack_id in self.pack_ids], dtype=np.bool_),
            use=self._use(),
        )

    @cached_property
    def full_tests(self) -> Mapping[int, int]:
        """How many full tests each row has."""
        counts: dict[int, int] = {}
        for test in self.tests:
            if test.is_full:
                row = self.row_of[test.pack_id]
                counts[row] = counts.get(row, 0) + 1
        return counts

    @cached_property
    def last_full(self) -> Mapping[int, date]:
        """The day of each row's last full test."""
        return {self.row_of[test.pack_id]: clock.local_day(test.started_at) for test in self.tests if test.is_full}

    @cached_property
    def record(self) -> TypeRecord:
        """The same for types that borrow from this one."""
        laid_out = histories_of(self.columns, self.packs, float(self.device_type.replacement_level))
        return TypeRecord(
            chemistry=self.device_type.chemistry,
            tests=self.columns,
            packs=len(self.packs),
            entry_age=self.packs.entry_age,
            entry_level=laid_out.entry_level,
            entry_level_sd=laid_out.entry_level_sd,
            use=self.packs.use,
        )

    def age(self, row: int, on: date) -> float:
        """The age of a pack on a day, years."""
        return max((on - self.first_fitted[row]).days, 0) / YEAR

    def date_at(self, row: int, age_years: float) -> date | None:
        """The day a pack reaches an age; None where that lies beyond the horizon."""
        if not np.isfinite(age_years):
            return None
        return self.first_fitted[row] + timedelta(days=round(age_years * YEAR))

    def _entry_ages(self) -> FloatArray:
        seen = _written_down(self.device_type)
        for test in self.tests:
            day = clock.local_day(test.started_at)
            seen[test.pack_id] = min(seen.get(test.pack_id, day), day)
        days = [
            (seen.get(pack_id, fitted_on) - fitted_on).days
            for pack_id, fitted_on in zip(self.pack_ids, self.first_fitted, strict=True)
        ]
        ages = np.array([number / YEAR if number > SEEN_NEW else 0.0 for number in days])
        return np.where(self.is_ageless, 0.0, ages)

    def _use(self) -> FloatArray:
        counts = CycleCount.objects.filter(pack__for_type=self.device_type).order_by("counted_on")
        rate = np.zeros(len(self.pack_ids))
        for pack_id, counted_on, cycles in counts.values_list("pack_id", "counted_on", "cycles"):
            row = self.row_of.get(pack_id)
            if (
                row is not None
                and row not in self.ageless
                and cycles
                and (age := self.age(row, counted_on)) >= _LEAST_USED_YEARS
            ):
                rate[row] = cycles / age
        counted = rate > 0
        if not counted.any():
            return rate
        use = np.log(np.where(counted, rate, 1.0) / np.median(rate[counted]))
        return np.where(counted, np.clip(use, -np.log(_WIDEST_USE), np.log(_WIDEST_USE)), 0.0)


def type_history(device_type: DeviceType, today: date) -> TypeHistory:
    """Read all that is on record of a type's packs."""
    stays, tests = _stays(device_type), _tests(device_type)
    tested: dict[int, date] = {}
    for test in tests:
        tested.setdefault(test.pack_id, clock.local_day(test.started_at))
    began = _beginnings(stays, tested)
    pack_ids = list(began)
    rows = {pack_id: row for row, pack_id in enumerate(pack_ids)}
    ageless = frozenset(rows[pack_id] for pack_id, (_, known) in began.items() if not known)
    return TypeHistory(
        device_type=device_type,
        today=today,
        pack_ids=pack_ids,
        first_fitted=[day for day, _ in began.values()],
        tests=[test for test in tests if test.pack_id in rows and rows[test.pack_id] not in ageless],
        fitted=list(_fitted(device_type, stays, rows, today)),
        worn=frozenset(stay.pack_id for stay in stays if stay.removed_why == Fitting.Why.WORN),
        ageless=ageless,
        undated=[test for test in tests if rows.get(test.pack_id) in ageless],
    )


def date_codes(device_type: DeviceType) -> dict[int, str]:
    """The date code of each pack of a type."""
    return dict(Pack.objects.filter(for_type=device_type).values_list("pk", "date_code"))


def _stays(device_type: DeviceType) -> list[_Stay]:
    rows = Fitting.objects.filter(pack__for_type=device_type).order_by("pack_id", "fitted_on", "pk")
    return [
        _Stay(*values)
        for values in rows.values_list(
            "pack_id",
            "device_id",
            "fitted_on",
            "removed_on",
            "removed_why",
            "device__condition",
            "device__own_replacement_level",
            "device__pool",
            "device__home__critical",
            "fitted_on_known",
            "pack__made_on",
        )
    ]


def _beginnings(stays: Iterable[_Stay], tested: Mapping[int, date]) -> dict[int, tuple[date, bool]]:
    """Return of each pack the day its age is counted from, by its first stay and test, and whether that is known."""
    began: dict[int, tuple[date, bool]] = {}
    for stay in stays:
        if stay.pack_id in began:
            continue
        earlier = [day for day in (stay.made_on, tested.get(stay.pack_id)) if day and day < stay.fitted_on]
        known = stay.day_known or stay.made_on is not None or bool(earlier)
        began[stay.pack_id] = (stay.fitted_on if stay.day_known else min([stay.fitted_on, *earlier]), known)
    return began


def _tests(device_type: DeviceType) -> list[LoggedTest]:
    rows = RuntimeTest.objects.filter(pack__for_type=device_type, voided_at__isnull=True)
    names = ("pk", "pack_id", "started_at", "fraction", "stop", "short_charge", "outside_table", "charge_hours")
    more = ("device__own_charging_hours", "ambient_c", "rack_position", "by_name")
    return [LoggedTest(*values) for values in rows.order_by("pack_id", "started_at", "pk").values_list(*names, *more)]


def _fitted(
    device_type: DeviceType, stays: Iterable[_Stay], rows: Mapping[int, int], today: date
) -> Iterable[FittedPack]:
    visits = _visits(device_type)
    for stay in stays:
        if stay.removed_on is not None or stay.condition == Condition.RETIRED:
            continue
        visit, months = visits.get(stay.device_id, (None, USUAL_MONTHS))
        yield FittedPack(
            pack_id=stay.pack_id,
            device_id=stay.device_id,
            row=rows[stay.pack_id],
            level=device_type.replacement_level if stay.own_level is None else stay.own_level,
            visit=visit,
            following=add_months(max(visit, today), months) if visit else None,
            visit_months=months,
            pool=stay.pool,
            critical=stay.critical,
        )


def _visits(device_type: DeviceType) -> dict[int, tuple[date, int]]:
    """Return each driver's next visit at which a pack can be replaced, and the months until its plan asks for the next.

    Those are a service and a battery test: a technician has the driver in hand. A new library may come over the air.
    """
    dues = Due.objects.filter(device__device_type=device_type, plan__kind__in=_AT_HAND, suspended=False)
    names = ("device_id", "due_on", "own_every_months", "plan__every_months")
    return {
        device_id: (due_on, own or months or USUAL_MONTHS)
        for device_id, due_on, own, months in dues.order_by("-due_on").values_list(*names)
    }


def _written_down(device_type: DeviceType) -> dict[int, date]:
    """Return the day on which each pack's first fitting was written down."""
    packs = Pack.objects.filter(for_type=device_type)
    entries = TrailEntry.objects.filter(subject_kind="pack", verb="fitted pack", subject_id__in=packs.values("pk"))
    rows = entries.order_by("-id").values_list("subject_id", "entered_at")
    return {pack_id: clock.local_day(entered_at) for pack_id, entered_at in rows if pack_id is not None}


def _kind(test: LoggedTest) -> int:
    if test.outside_table:
        return OUTSIDE_TABLE
    return SHORT_CHARGE if test.short_charge else PLAIN
