"""Runtime tests: logged one by one or a rack at a time, and voided with a reason when wrong."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np
from django.db import transaction
from django.utils.timezone import localtime

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.batteries.models import Fitting, Pack, RuntimeTest
from fleet.batteries.queries.rated import rated_table
from fleet.bench.models import Order
from fleet.core.battery.runtime import is_likely, runtime_fraction, short_charge
from fleet.core.errors import BadValueError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.registry.models import Device
from fleet.schedules import actions as schedules
from fleet.tags.models import Quarantine
from fleet.web import clock
from fleet.web.phrases import moment

BATCH = 1000
# Common practice, no source: what a delivery rate and a syringe of such a driver can be.
RATES = (Decimal("0.01"), Decimal(1130))
SYRINGES = (Decimal(1), Decimal(60))
# Longer than any pack of such a driver lasts at its lowest rate: a slip of the pen in the date.
LONGEST = timedelta(days=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewTest:
    """A runtime test as read at the bench. Rate in mL/h, syringe in mL, charge in hours, temperature in °C.

    `pack` may be left out: then it is the pack that was fitted to the driver when the test started. `made_by` names
    who made a test that is taken over from an earlier record. `confirmed`: whoever typed it was asked whether so
    unlikely a runtime is right, and said yes.
    """

    device: Device
    charge_hours: Decimal
    rate: Decimal
    syringe_ml: Decimal
    started_at: datetime
    stopped_at: datetime
    stop: RuntimeTest.Stop
    low_alarm_at: datetime | None = None
    ambient_c: Decimal | None = None
    pack: Pack | None = None
    order: Order | None = None
    rack_position: str = ""
    made_by: str = ""
    confirmed: bool = False


def log_test(new: NewTest, *, by: Actor) -> RuntimeTest:
    """Log one runtime test. Raises BadValueError that names the field."""
    return log_tests([new], by=by)[0]


@transaction.atomic
def log_tests(news: Sequence[NewTest], *, by: Actor, taken_over: bool = False) -> list[RuntimeTest]:
    """Log runtime tests together, all or none. What each is worth is worked out from its type's table as it stands.

    One that began under an open quarantine is refused, and an unlikely runtime that nobody confirmed is asked back;
    not so where the tests are `taken_over` from a record of what was done.
    """
    if not by.duties & {May.LOG_RUNTIME_TEST, May.IMPORT_RECORDS}:
        by.must(May.LOG_RUNTIME_TEST)
    for new in news:
        _check(new)
    packs = _packs(news)
    tests = [_fresh(new, pack, by) for new, pack in zip(news, packs, strict=True)]
    _refuse_known(tests)
    _reckon(tests)
    if not taken_over:
        _refuse_quarantined(tests)
        _ask_back(tests, news)
    RuntimeTest.objects.bulk_create(tests, batch_size=BATCH)
    record_many((_logged(test) for test in tests), by=by)
    for test in tests:
        if test.device.condition == Condition.NOT_LOCATED:
            schedules.scanned(test.device, "a runtime test", at=test.started_at, by=by)
    return tests


def check_test(new: NewTest, *, by: Actor) -> None:
    """Refuse what `log_tests` would refuse of one test, so that a rack's rows are all judged before any is written."""
    _check(new)
    test = _fresh(new, _packs([new])[0], by)
    _refuse_known([test])
    _reckon([test])
    _refuse_quarantined([test])
    _ask_back([test], [new])


def faults_of(new: NewTest) -> list[tuple[str, str]]:
    """Everything that is wrong with one test by itself, as field and words; asks the database nothing."""
    return [(field, words) for words, field, wrong in _rules(new) if wrong]


def unlikely(news: Sequence[NewTest]) -> list[bool]:
    """Whether each test's runtime lies so far from the rated one that a person would be asked back for it."""
    tests = [
        RuntimeTest(
            device=new.device,
            charge_hours=new.charge_hours,
            rate=new.rate,
            started_at=new.started_at,
            stopped_at=new.stopped_at,
            stop=new.stop,
        )
        for new in news
    ]
    _reckon(tests)
    return [not _is_likely(test) for test in tests]


def _check(new: NewTest) -> None:
    for field, words in faults_of(new):
        raise BadValueError(f"{new.device}: {words}", field=field)


def _rules(new: NewTest) -> list[tuple[str, str, bool]]:
    alarm, ran = new.low_alarm_at, new.stopped_at - new.started_at
    return [
        ("the stop must come after the start.", "stopped_at", ran <= timedelta(0)),
        (f"the run lasts {ran.days} days. Check the dates of start and stop.", "stopped_at", ran > LONGEST),
        ("the test is still to come. Check the date.", "stopped_at", new.stopped_at > clock.now()),
        (
            "the low-battery alarm lies outside the run.",
            "low_alarm_at",
            alarm is not None and not new.started_at <= alarm <= new.stopped_at,
        ),
        (f"{new.rate} mL/h is no delivery rate. Give {RATES[0]} to {RATES[1]}.", "rate", not _within(new.rate, RATES)),
        (
            f"{new.syringe_ml} mL is no syringe size. Give {SYRINGES[0]} to {SYRINGES[1]}.",
            "syringe_ml",
            not _within(new.syringe_ml, SYRINGES),
        ),
        ("hours on charge lie between 0 and 200.", "charge_hours", not _within(new.charge_hours, (0, 200))),
        (
            f"{new.ambient_c} °C is no room temperature. Give -10 to 50, or leave it empty.",
            "ambient_c",
            new.ambient_c is not None and not _within(new.ambient_c, (-10, 50)),
        ),
    ]


def _within(value: Decimal, bounds: tuple[Decimal | int, Decimal | int]) -> bool:
    return bounds[0] <= value <= bounds[1]


def _packs(news: Sequence[NewTest]) -> list[Pack]:
    wanted = {new.device.pk for new in news if new.pack is None}
    stays: dict[int, list[Fitting]] = {}
    for start in range(0, len(wanted), BATCH):
        part = sorted(wanted)[start : start + BATCH]
        for fitting in Fitting.objects.filter(device__in=part).select_related("pack"):
            stays.setdefault(fitting.device_id, []).append(fitting)
    return [new.pack or _pack_then(new, stays.get(new.device.pk, [])) for new in news]


def _pack_then(new: NewTest, stays: Sequence[Fitting]) -> Pack:
    on = clock.local_day(new.started_at)
    # The newest stay first: on the day of a swap the test is taken for one of the pack that went in.
    for stay in sorted(stays, key=lambda stay: stay.fitted_on, reverse=True):
        if stay.fitted_on <= on and (stay.removed_on is None or on <= stay.removed_on):
            return stay.pack
    message = f"{new.device} has no pack on record for that day. Record which pack is fitted, then log the test."
    raise BadValueError(message, field="device")


def _fresh(new: NewTest, pack: Pack, by: Actor) -> RuntimeTest:
    return RuntimeTest(
        pack=pack,
        device=new.device,
        order=new.order,
        charge_hours=new.charge_hours,
        rate=new.rate,
        syringe_ml=new.syringe_ml,
        started_at=new.started_at,
        stopped_at=new.stopped_at,
        low_alarm_at=new.low_alarm_at,
        stop=new.stop,
        ambient_c=new.ambient_c,
        rack_position=new.rack_position,
        by_id=None if new.made_by else by.person_id,
        by_name=new.made_by or by.name,
        entered_at=clock.now(),
    )


def _refuse_known(tests: Sequence[RuntimeTest]) -> None:
    keys = {(test.pack_id, test.started_at) for test in tests}
    packs = sorted({test.pack_id for test in tests})
    twice = next((test for test in tests if _count(tests, test) > 1), None) if len(tests) < BATCH else None
    for start in range(0, len(packs), BATCH):
        known = RuntimeTest.objects.filter(pack__in=packs[start : start + BATCH], voided_at__isnull=True)
        twice = twice or next((row for row in known if (row.pack_id, row.started_at) in keys), None)
    if twice:
        began = moment(localtime(twice.started_at))
        message = f"{twice.device}: a test of pack {twice.pack} that started {began} is there already."
        raise BadValueError(message, field="started_at")


def _count(tests: Sequence[RuntimeTest], test: RuntimeTest) -> int:
    return sum((other.pack_id, other.started_at) == (test.pack_id, test.started_at) for other in tests)


def _reckon(tests: Sequence[RuntimeTest]) -> None:
    """Fill in rated hours, fraction and flags, by device type, from the types' tables."""
    by_type: dict[int, list[RuntimeTest]] = {}
    for test in tests:
        by_type.setdefault(test.device.device_type_id, []).append(test)
    for group in by_type.values():
        table = rated_table(group[0].device.device_type)
        rates = np.array([float(test.rate) for test in group])
        hours = np.array([test.ran.total_seconds() / 3600 for test in group])
        rated, measured = table.rated_hours(rates), runtime_fraction(hours, rates, table)
        short = short_charge(
            np.array([float(test.charge_hours) for test in group]),
            np.array([float(test.device.charging_hours) for test in group]),
        )
        for row, test in enumerate(group):
            test.rated_hours = Decimal(repr(round(float(rated.hours[row]), 4)))
            test.fraction = float(measured.fraction[row])
            test.outside_table, test.short_charge = bool(measured.outside_table[row]), bool(short[row])


def _refuse_quarantined(tests: Sequence[RuntimeTest]) -> None:
    """No test is begun on a driver that is kept as it is; one that began before may be put on record."""
    devices = sorted({test.device_id for test in tests})
    since: dict[int, datetime] = {}
    for start in range(0, len(devices), BATCH):
        held = Quarantine.objects.filter(device__in=devices[start : start + BATCH], lifted_at__isnull=True)
        since |= dict(held.values_list("device", "opened_at"))
    for test in tests:
        if test.device_id in since and test.started_at >= since[test.device_id]:
            began = moment(localtime(since[test.device_id]))
            message = (
                f"{test.device} is in quarantine since {began}: no test is begun on it until that is lifted. "
                "A test that began before may be logged with its own start."
            )
            raise BadValueError(message, field="started_at")


def _ask_back(tests: Sequence[RuntimeTest], news: Sequence[NewTest]) -> None:
    """Ask once whether a runtime far from the rated one is right; what was confirmed says so for good."""
    for test, new in zip(tests, news, strict=True):
        if _is_likely(test):
            continue
        test.confirmed = new.confirmed
        if not new.confirmed:
            rated = timedelta(hours=float(test.rated_hours))
            message = (
                f"{test.device}: {hours_minutes(test.ran)} h was typed where about {hours_minutes(rated)} h was "
                "expected of a new pack. Look at start, stop and rate again; if it is right, say that it is to be kept."
            )
            raise BadValueError(message, field="confirmed")


def _is_likely(test: RuntimeTest) -> bool:
    cut_short = test.stop == RuntimeTest.Stop.BY_HAND or test.short_charge or test.outside_table
    return is_likely(test.fraction, cut_short=cut_short)


def hours_minutes(ran: timedelta) -> str:
    """A runtime as it is typed: `0:50`."""
    hours, minutes = divmod(int(ran.total_seconds()) // 60, 60)
    return f"{hours}:{minutes:02}"


def _logged(test: RuntimeTest) -> Happening:
    after: dict[str, object] = {
        "pack": str(test.pack),
        "rate, mL/h": str(test.rate),
        "minutes": test.ran.total_seconds() / 60,
        "stop": RuntimeTest.Stop(test.stop).label,
    }
    if test.confirmed:
        after["confirmed"] = True
    return Happening("logged runtime test", test, device_id=test.device_id, after=after, done_at=test.stopped_at)


@transaction.atomic
def void_test(test: RuntimeTest, *, why: str, by: Actor) -> RuntimeTest:
    """Mark a wrong test as void, with the reason. It stays on record and counts for nothing."""
    by.must(May.LOG_RUNTIME_TEST)
    row = RuntimeTest.objects.select_for_update(of=("self",)).get(pk=test.pk)
    if row.voided_at:
        raise BadValueError(f"{row.voided_by} voided this test on {moment(localtime(row.voided_at))}: {row.voided_why}")
    if not why.strip():
        raise BadValueError("Say what is wrong with the test.", field="why")
    before, after = change(row, voided_at=clock.now(), voided_by=by.name, voided_why=why)
    record(Happening("voided runtime test", row, device_id=row.device_id, before=before, after=after, why=why), by=by)
    return row
