"""Computed readings are made when their last number comes in, and made anew when one of them changes."""

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal

from fleet.audit.actors import Actor
from fleet.bench.actions.measuring import DECIMALS, LARGEST, judge
from fleet.bench.models import Order, Reading, Step
from fleet.bench.queries.computing import Computed, computed, latest_readings
from fleet.bench.queries.judging import Judges, limits_judging
from fleet.core.errors import BadValueError
from fleet.core.limits import Limits, verdict
from fleet.core.safety import Context


def compute(order: Order, changed: Collection[int], judges: Judges, *, at: datetime, by: Actor) -> list[Reading]:
    """Make the computed readings that take a value of the `changed` steps (by id) or are among them.

    One whose numbers are no longer all there stops counting: its step is open again. Raises BadValueError where a
    computed step was itself asked for and its numbers are missing.
    """
    own = Step.objects.filter(version=order.procedure_version_id)
    if not own.filter(kind=Step.Kind.COMPUTED).exists():
        return []
    steps = list(own.prefetch_related("limits"))
    latest, touched = latest_readings(order), set(changed)
    made: list[Reading] = []
    for step in steps:
        if step.kind != Step.Kind.COMPUTED or _set_aside(step, changed, latest):
            continue
        now = computed(step, steps, latest)
        if step.pk in touched or any(each.pk in touched for each in now.asks):
            _refuse_missing(step, now, changed)
            touched.add(step.pk)
            if reading := _renewed(order, step, now, latest, judges):
                reading.taken_at, reading.by_id = at, by.person_id
                reading.save()
                latest[step.pk] = reading
                made.append(reading)
    return made


def _set_aside(step: Step, changed: Collection[int], latest: dict[int, Reading]) -> bool:
    """Whether this very act said that the step does not apply."""
    return step.pk in changed and step.pk in latest and latest[step.pk].verdict == Reading.Verdict.NOT_APPLICABLE


def _refuse_missing(step: Step, now: Computed, changed: Collection[int]) -> None:
    if now.missing and step.pk in changed:
        message = f"Step {step.position} can't be worked out: {now.missing}. Or mark it as not applicable, and say why."
        raise BadValueError(message, field="value")


def _renewed(order: Order, step: Step, now: Computed, latest: dict[int, Reading], judges: Judges) -> Reading | None:
    """The new reading of a computed step, unsaved. The one before counts no more, unless it says why it is left out."""
    before = latest.get(step.pk)
    if now.value is None and before is not None and before.verdict == Reading.Verdict.NOT_APPLICABLE:
        return None
    latest.pop(step.pk, None)
    Reading.objects.filter(order=order, step=step, latest=True).update(latest=False)
    return None if now.value is None else _reading(order, step, now, now.value, judges)


def _reading(order: Order, step: Step, now: Computed, value: Decimal, judges: Judges) -> Reading:
    if abs(value) >= LARGEST:
        raise BadValueError(f"Step {step.position} would be {value:g} {step.unit}. Check its numbers.", field="value")
    reading = Reading(order=order, step=step, value=value, worked=now.worked)
    judge(reading, Context(), judges, passed=True)
    limits = limits_judging(reading)
    reading.value, reading.as_typed = round(value, DECIMALS), _shown(value, step.decimals, limits)
    return reading


def _shown(value: Decimal, decimals: int | None, limits: Limits | None) -> str:
    """The value as it is read: never on the other side of a limit than it lies, so 79.96 is not shown as 80.0."""
    places = DECIMALS if decimals is None else decimals
    while limits and places < DECIMALS and verdict(round(value, places), limits) != verdict(value, limits):
        places += 1
    shown = f"{round(value, places):f}"
    return shown.rstrip("0").rstrip(".") if decimals is None and "." in shown else shown
