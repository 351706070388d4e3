"""What is known of a driver and of the order on it, counted for `core.lifecycle` under the caller's lock."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, overload

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, When

from fleet.bench.models import (
    FlowTest,
    OcclusionTest,
    Order,
    OrderKind,
    ProcedureVersion,
    Reading,
    Step,
    StepLimit,
)
from fleet.bench.queries.failing import failing_steps, verdicts
from fleet.bench.queries.flow import failed_delivery
from fleet.core.lifecycle import Condition, Facts, work_refusal
from fleet.core.limits import Limits
from fleet.core.orders import ABSENT_OUTCOMES, OPEN_STATES, OrderState, Outcome
from fleet.registry.models import Device, DeviceType
from fleet.schedules.models import Due
from fleet.tags.models import Quarantine, Tag, TagReport, YesNo
from fleet.web.phrases import MINUS, quantity

OPEN = [state.value for state in OPEN_STATES]
HARM = [YesNo.YES, YesNo.NOT_SURE]


@dataclass(frozen=True, slots=True)
class Standing:
    """How many required steps an order has, by what counts of each: a failure until a later answer passes."""

    required: int = 0
    passed: int = 0
    failed: int = 0
    missing: int = 0
    unproven: int = 0

    @property
    def answered(self) -> int:
        """Required steps with any answer."""
        return self.required - self.missing


def standing(order: Order | None) -> Standing:
    """Count the required steps of the procedure version frozen on the order."""
    if order is None or order.procedure_version_id is None:
        return Standing()
    steps = Step.objects.filter(version_id=order.procedure_version_id, required=True).values_list("pk", flat=True)
    counts = verdicts(order)
    held = [counts.get(step) for step in steps]
    return Standing(
        required=len(held),
        passed=held.count(Reading.Verdict.PASS),
        failed=held.count(Reading.Verdict.FAIL),
        missing=held.count(None),
        unproven=held.count(Reading.Verdict.NOT_PROVEN),
    )


def facts(device: Device, order: Order | None = None) -> Facts:
    """Count what `core.lifecycle` asks for. With `order`: as it would stand once that order is finished."""
    steps = standing(order)
    tags = Tag.objects.filter(device=device, cleared_at__isnull=True)
    if order is not None and order.tag_id is not None:
        tags = tags.exclude(pk=order.tag_id)
    others = open_orders(device)
    if order is not None:
        others = others.exclude(pk=order.pk)
    # Wiping a driver is no check of it: an order to retire it returns nothing to service.
    retires = order is not None and order.kind == OrderKind.RETIREMENT
    return Facts(
        open_tags=tags.count(),
        quarantine_open=_quarantine_open(device),
        failed_required_steps=steps.failed,
        missing_required_steps=steps.missing,
        unproven_required_steps=steps.unproven,
        failed_delivery_tests=_failed_deliveries(order),
        failures_left=_failures_left(device, order),
        checked=steps.passed > 0 and not retires,
        for_retirement=retires,
        accepted=device.accepted_on is not None or (order is not None and order.kind == OrderKind.ACCEPTANCE),
        open_orders=others.count(),
        services_owed=_services_owed(device, order),
    )


def _failed_deliveries(order: Order | None) -> int:
    """Most orders test no delivery: that is asked once, before what was tested is read."""
    if order is None:
        return 0
    flows, closed = (rows.objects.filter(order=OuterRef("pk")) for rows in (FlowTest, OcclusionTest))
    tested = Order.objects.filter(Exists(flows) | Exists(closed), pk=order.pk).exists()
    return len(failed_delivery(order)) if tested else 0


def _failures_left(device: Device, order: Order | None) -> tuple[str, ...]:
    """The orders that ended with a failure while nobody had the driver, and which no work of the same kind met since.

    `order` meets those of its own kind by what it asks itself, and its acceptance meets all; a recheck that asks for
    some steps only meets none.
    """
    ended = Order.objects.filter(device=device, state=OrderState.DONE)
    lost = list(ended.filter(outcome=Outcome.NOT_LOCATED))
    left = []
    for each in lost:
        meets = {each.kind, OrderKind.ACCEPTANCE}
        later = ended.filter(kind__in=meets, asked=[], completed_at__gt=each.completed_at)
        met = order is not None and order.kind in meets and not order.asked
        met = met or later.exclude(outcome__in=ABSENT_OUTCOMES).exists()
        if not met and (failing_steps(each) or failed_delivery(each)):
            left.append(f"order {each} ({each.get_kind_display().lower()})")
    return tuple(left)


def _services_owed(device: Device, order: Order | None) -> int:
    """Services due before use that this order would leave undone: a planned one does its due, without one all.

    A recheck that asks for the readings in doubt only is no service and does none.
    """
    owed = Due.objects.filter(device=device, before_use=True, suspended=False)
    if order is not None and order.kind == OrderKind.PLANNED and not order.asked:
        owed = owed.exclude(pk=order.due_id) if order.due_id else owed.none()
    return owed.count()


def open_orders(device: Device) -> QuerySet[Order]:
    """Orders on a device that are raised, started or waiting."""
    return Order.objects.filter(device=device, state__in=OPEN)


def open_quarantine(device: Device) -> Quarantine | None:
    """The quarantine that has not been lifted."""
    return Quarantine.objects.filter(device=device, lifted_at__isnull=True).first()


def no_work(device: Device, order: Order | None) -> str | None:
    """Why no bench work may go on now and what may be done instead; None where it may.

    All facts are counted only where they are told.
    """
    if device.condition == Condition.ON_BENCH and not _quarantine_open(device):
        return None
    return work_refusal(Condition(device.condition), facts(device, order))


def _quarantine_open(device: Device) -> bool:
    return device.quarantined or open_quarantine(device) is not None


def harm_linked(order: Order) -> bool:
    """Whether somebody was harmed, or might have been: by the tag, its reports or a quarantine meanwhile."""
    linked = Q(opened_at__gte=order.raised_at)
    if order.completed_at is not None:
        linked &= Q(opened_at__lte=order.completed_at)
    if order.tag_id is not None:
        linked |= Q(tag_id=order.tag_id)
        reported = TagReport.objects.filter(tag_id=order.tag_id, harm__in=HARM)
        if reported.exists() or Tag.objects.filter(pk=order.tag_id, harm__in=HARM).exists():
            return True
    return Quarantine.objects.filter(linked, device_id=order.device_id).exists()


_WORK: Final = (Reading, FlowTest, OcclusionTest)


def has_worked(order: Order, person_id: int) -> bool:
    """Whether somebody is one of the `workers` of an order."""
    return any(model.objects.filter(order=order, by_id=person_id).exists() for model in _WORK)


def is_worked(order: Order) -> bool:
    """Whether any step of an order was answered, or its delivery tested, by whomever."""
    return any(model.objects.filter(order=order).exists() for model in _WORK)


def workers(order: Order) -> set[int]:
    """The persons who answered steps of an order or tested its delivery, also where that counts no more."""
    taken = (model.objects.filter(order=order, by__isnull=False) for model in _WORK)
    return {person for rows in taken for person in rows.order_by().values_list("by_id", flat=True).distinct()}


class InForce:
    """The procedures in force on a day by type and kind of order, read at once; as `in_force` tells each."""

    def __init__(self, on: date) -> None:
        approved = ProcedureVersion.objects.filter(state=ProcedureVersion.State.APPROVED, in_force_from__lte=on)
        rows = approved.select_related("procedure").order_by("in_force_from", "number", "pk")
        # The last of a type and kind is the one that holds.
        self._held = {(row.procedure.device_type_id, row.procedure.kind): row for row in rows}

    def of(self, device_type_id: int | None, kind: str) -> ProcedureVersion | None:
        """One for the type before one for all types; without a type, the one for all."""
        return self._held.get((device_type_id, kind)) or self._held.get((None, kind))


def in_force(device_type: DeviceType, kind: str, on: date) -> ProcedureVersion | None:
    """The procedure version in force for a kind of order on a day: one for the type before one for all types."""
    own_first = Case(When(procedure__device_type__isnull=True, then=1), default=0)
    return (
        ProcedureVersion.objects.filter(
            Q(procedure__device_type=device_type) | Q(procedure__device_type__isnull=True),
            procedure__kind=kind,
            state=ProcedureVersion.State.APPROVED,
            in_force_from__lte=on,
        )
        .select_related("procedure")
        .order_by(own_first, "-in_force_from", "-number", "-pk")
        .first()
    )


def limits_of(step: Step, device_type_id: int | None) -> Limits | None:
    """The limits of a reading on a driver of a type; None where none are set, and the value is only recorded.

    Those of the type hold before those for all. Lists read `step__limits` ahead. Without a type: those for all.
    """
    held = limit_held(step, device_type_id) or step
    if held.low is None and held.high is None:
        return None
    return Limits(plain_bound(held.low), plain_bound(held.high), step.unit)


def limit_held(step: Step, device_type_id: int | None) -> StepLimit | None:
    """The type's own limit of a step; None where those for all types hold."""
    return next((each for each in step.limits.all() if each.device_type_id == device_type_id), None)


@overload
def plain_bound(value: Decimal) -> Decimal: ...
@overload
def plain_bound(value: None) -> None: ...
def plain_bound(value: Decimal | None) -> Decimal | None:
    """The same number without the column's trailing zeros: 5.0000 is 5, 0.2000 is 0.2."""
    return None if value is None else Decimal(f"{value.normalize():f}")


def in_words(reading: Reading) -> str:
    """One answer as a person reads it: "4.9 mL/h, with B-01, pass", "fail: cracked", "not applicable: no lead"."""
    if reading.passed_over:
        return "not asked for"
    value = value_in_words(reading) or reading.chosen
    if reading.step.kind == Step.Kind.FILE and reading.verdict != Reading.Verdict.NOT_APPLICABLE:
        value = "file attached"
    verdict = reading.get_verdict_display().lower()
    note = f": {reading.note}" if reading.note else ""
    changed = f"; changed since it failed: {reading.changed}" if reading.changed else ""
    return ", ".join(filter(None, [value, _with_what(reading), verdict + note])) + changed


def value_in_words(reading: Reading) -> str:
    """The value as it was typed; where another unit was typed, with what it is in the step's: "7.5 psi (51.71 kPa)"."""
    if reading.value is None:
        return ""
    if _has_no_unit(reading):
        return f"{reading.as_typed} {reading.step.unit}"
    return f"{reading.as_typed} ({quantity(reading.value, reading.step.unit)})"


def number_in_words(reading: Reading) -> str:
    """The value in the step's unit without it: as it was typed, unless another unit was typed."""
    if reading.value is None or _has_no_unit(reading):
        return reading.as_typed.replace("-", MINUS)
    return quantity(reading.value)


def _has_no_unit(reading: Reading) -> bool:
    return reading.as_typed[-1:].isdigit() or reading.as_typed[-1:] in {".", ","}


def _with_what(reading: Reading) -> str:
    if reading.instrument is None:
        return "no instrument named" if reading.instrument_unnamed else ""
    return f"with {reading.instrument.number}{' (overdue for calibration)' if reading.instrument_overdue else ''}"
