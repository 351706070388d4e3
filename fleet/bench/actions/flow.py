"""Flow and occlusion tests on an order: recorded, judged by the type's limits, voided with a reason; never deleted."""

import zlib
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any, Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench.actions.holding import put, workable
from fleet.bench.actions.instruments import is_late
from fleet.bench.models import DeliveryLimit, FlowTest, OcclusionTest, Order
from fleet.bench.queries.flow import judged, limits_at, measured_flow, verdict_of
from fleet.core.errors import BadValueError
from fleet.core.flow import BalanceLog, Delivery, Liquid, Period, PressureUnit, deliver, read_log, to_kpa
from fleet.core.limits import read_number
from fleet.core.permissions import May
from fleet.registry.actions.reference import refuse_wrong, with_values
from fleet.stores.models import Instrument
from fleet.web import clock

#: The flow is kept for its plot; its sums were taken before.
_FLOW_DECIMALS: Final = 5
_KPA: Final = Decimal("0.01")
OCCLUSION: Final = (
    DeliveryLimit.Quantity.ALARM_SECONDS.value,
    DeliveryLimit.Quantity.PRESSURE.value,
    DeliveryLimit.Quantity.BOLUS.value,
)
#: What states a limit; its quantity, type and rate say which it is.
LIMIT_FACTS: Final = ("low", "high", "source", "edition")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A flow test: set rate in mL/h, syringe in mL, the log as it came, and how it is to be read."""

    rate: Decimal
    syringe_ml: Decimal
    log: str
    log_name: str
    density: Decimal
    evaporation: Decimal = Decimal(0)
    period: Period
    instrument: Instrument | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Occluded:
    """An occlusion test: rate in mL/h and syringe in mL, without which it says nothing; `pressure` as typed."""

    rate: Decimal
    syringe_ml: Decimal
    level: str
    seconds_to_alarm: int
    pressure: str
    unit: PressureUnit
    bolus_ml: Decimal | None = None
    instrument: Instrument | None = None


@transaction.atomic
def record_flow_test(order: Order, given: Weighed, *, by: Actor) -> FlowTest:
    """Read the log, compute flow and trumpet, judge them, and keep all of it with the log as it came.

    Raises BadValueError for a log or value that cannot be read, NotEnoughDataError where the log is shorter than its
    period asks for, MoveRefusedError where the order may not be worked on.
    """
    row = workable(order, by)
    overdue = _ask_instrument(given.instrument)
    log = read_log(given.log)
    liquid = Liquid(float(given.density), float(given.evaporation))
    delivery = deliver(log.seconds, log.grams, float(given.rate), liquid, given.period)
    measured = measured_flow(delivery)
    lines = judged(limits_at(row.device.device_type, given.rate, given.syringe_ml, measured), measured)
    test = FlowTest(
        order=row,
        rate=given.rate,
        syringe_ml=given.syringe_ml,
        instrument=given.instrument,
        density=given.density,
        evaporation=given.evaporation,
        period=given.period.code,
        log=zlib.compress(given.log.encode()),
        log_name=given.log_name[:120],
        result=_result(delivery, log) | {"judged": [asdict(line) for line in lines], "instrument_overdue": overdue},
        verdict=verdict_of(lines),
        **_by_whom(by),
    )
    # Where no person acts, only a name is known.
    refuse_wrong(test, besides={"by"})
    test.save()
    told = {"test": test.pk, "rate": test.rate, "syringe": test.syringe_ml, "verdict": test.verdict,
            "mean_error": delivery.mean_error, "log": test.log_name}  # fmt: skip
    put(row, "recorded flow test", by=by, told=told)
    return test


def _result(delivery: Delivery, log: BalanceLog) -> dict[str, Any]:
    return {
        "flow": [round(value, _FLOW_DECIMALS) for value in delivery.flow.tolist()],
        "start": delivery.start,
        "stop": delivery.stop,
        "mean_flow": delivery.mean_flow,
        "mean_error": delivery.mean_error,
        "windows": [asdict(window) for window in delivery.windows],
        "widest_gap": delivery.widest_gap,
        "readings": len(log.seconds),
        "findings": [asdict(finding) for finding in log.findings],
        "odd": log.odd,
    }


def _by_whom(by: Actor) -> dict[str, Any]:
    return {"taken_at": clock.now(), "by_id": by.person_id, "by_name": by.name[:120]}


def _ask_instrument(instrument: Instrument | None) -> bool:
    """Whether its calibration has run out; refused where nothing may be measured with it."""
    return instrument is not None and is_late(instrument)


@transaction.atomic
def record_occlusion_test(order: Order, given: Occluded, *, by: Actor) -> OcclusionTest:
    """Record time to alarm, pressure at alarm and bolus after release, and judge them. Raises as `record_flow_test`."""
    row = workable(order, by)
    overdue = _ask_instrument(given.instrument)
    kpa = to_kpa(read_number(given.pressure), given.unit)
    if kpa < 0:
        raise BadValueError("The pressure at the alarm lies above zero; look at the sign.", field="pressure")
    measured = {
        DeliveryLimit.Quantity.ALARM_SECONDS.value: (float(given.seconds_to_alarm),) * 2,
        DeliveryLimit.Quantity.PRESSURE.value: (float(kpa),) * 2,
        DeliveryLimit.Quantity.BOLUS.value: None if given.bolus_ml is None else (float(given.bolus_ml),) * 2,
    }
    lines = judged(limits_at(row.device.device_type, given.rate, given.syringe_ml, OCCLUSION), measured)
    test = OcclusionTest(
        order=row,
        rate=given.rate,
        syringe_ml=given.syringe_ml,
        level=given.level.strip(),
        seconds_to_alarm=given.seconds_to_alarm,
        pressure_kpa=kpa.quantize(_KPA),
        as_typed=f"{given.pressure.strip()} {given.unit.label}",
        bolus_ml=given.bolus_ml,
        instrument=given.instrument,
        verdict=verdict_of(lines),
        **_by_whom(by),
    )
    # Where no person acts, only a name is known.
    refuse_wrong(test, besides={"by"})
    test.save()
    told = {
        "test": test.pk,
        "rate": test.rate,
        "syringe": test.syringe_ml,
        "level": test.level,
        "verdict": test.verdict,
        "judged": [asdict(line) for line in lines],
        "instrument_overdue": overdue,
    }
    put(row, "recorded occlusion test", by=by, told=told)
    return test


@transaction.atomic
def void_flow_test(test: FlowTest, why: str, *, by: Actor) -> FlowTest:
    """Let a flow test count no longer, while its order is worked on. It stays on record with the reason."""
    row = workable(test.order, by)
    held = FlowTest.objects.select_for_update().get(pk=test.pk)
    _void(held, why)
    put(row, "voided flow test", by=by, why=why.strip(), told={"test": held.pk, "verdict": held.verdict})
    return held


@transaction.atomic
def void_occlusion_test(test: OcclusionTest, why: str, *, by: Actor) -> OcclusionTest:
    """Let an occlusion test count no longer, while its order is worked on. It stays on record with the reason."""
    row = workable(test.order, by)
    held = OcclusionTest.objects.select_for_update().get(pk=test.pk)
    _void(held, why)
    put(row, "voided occlusion test", by=by, why=why.strip(), told={"test": held.pk, "verdict": held.verdict})
    return held


def _void(test: FlowTest | OcclusionTest, why: str) -> None:
    if test.voided_at is not None:
        raise BadValueError("This test is void already.", field="why")
    if not why.strip():
        raise BadValueError("Say why this test does not count.", field="why")
    change(test, voided_at=clock.now(), voided_why=why.strip()[:200])


@transaction.atomic
def add_delivery_limit(limit: DeliveryLimit, *, by: Actor) -> DeliveryLimit:
    """State a limit that holds from now on; somebody else verifies it.

    Raises BadValueError where one stands for the same type, quantity, rate and syringe, or its bounds are none; and for
    a time to alarm without rate and syringe: what is stored in the line takes as long as the rate needs to fill it.
    """
    by.must(May.EDIT_REGISTRY)
    standing = DeliveryLimit.objects.filter(
        device_type=limit.device_type,
        quantity=limit.quantity,
        rate=limit.rate,
        syringe_ml=limit.syringe_ml,
        dropped_at__isnull=True,
    )
    if limit.quantity == DeliveryLimit.Quantity.ALARM_SECONDS:
        for name in ("rate", "syringe_ml"):
            if getattr(limit, name) is None:
                message = "The time to an alarm says nothing without its rate and syringe: give both."
                raise BadValueError(message, field=name)
    if standing.exists():
        raise BadValueError("Such a limit stands already. Drop that one first.", field="quantity")
    if limit.low is None and limit.high is None:
        raise BadValueError("Give a lower limit, an upper limit or both.", field="low")
    if limit.low is not None and limit.high is not None and limit.low > limit.high:
        raise BadValueError("The lower limit lies above the upper.", field="low")
    row = with_values(limit, {"stated_by_id": by.person_id})
    refuse_wrong(row)
    row.save()
    told = {name: getattr(row, name) for name in (*LIMIT_FACTS, "quantity", "rate", "syringe_ml")}
    record(Happening("stated delivery limit", row, after={**told, "type": str(row.device_type)}), by=by)
    return row


@transaction.atomic
def verify_delivery_limit(limit: DeliveryLimit, *, by: Actor) -> DeliveryLimit:
    """Say that a limit was checked against its source, with name and day, by a person who did not state it."""
    by.must(May.EDIT_REGISTRY)
    row = _standing(limit)
    if by.person_id is None:
        raise BadValueError("A limit is verified by a person, with the source in hand.")
    if by.person_id == row.stated_by_id:
        raise BadValueError("You stated this limit. Somebody else verifies it.")
    if not row.edition.strip():
        raise BadValueError("It names no edition of its source. Drop it and state it anew with the edition.")
    before, after = change(row, verified_by=by.name[:120], verified_on=clock.today())
    record(Happening("verified delivery limit", row, before=before, after=after), by=by)
    return row


@transaction.atomic
def drop_delivery_limit(limit: DeliveryLimit, why: str, *, by: Actor) -> DeliveryLimit:
    """Let a limit hold no longer. It stays on record; tests judged by it keep their verdict."""
    by.must(May.EDIT_REGISTRY)
    row = _standing(limit)
    if not why.strip():
        raise BadValueError("Say why it holds no longer.", field="why")
    before, after = change(row, dropped_at=clock.now())
    record(Happening("dropped delivery limit", row, before=before, after=after, why=why.strip()), by=by)
    return row


def _standing(limit: DeliveryLimit) -> DeliveryLimit:
    row = DeliveryLimit.objects.select_for_update().get(pk=limit.pk)
    if row.dropped_at is not None:
        raise BadValueError("This limit was dropped already.")
    return row
