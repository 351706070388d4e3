"""Which steps of its procedure a recheck asks for: those in doubt and what they need, or the whole."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.bench.models import RECHECK, Order, Step
from fleet.bench.queries.trace import Taken, mention, taken_on
from fleet.core.formula import read_formula
from fleet.core.units import same_kind
from fleet.schedules.models import Due
from fleet.stores.models import Calibration


@dataclass(frozen=True, slots=True)
class Asked:
    """The positions of the steps asked for, none for the whole procedure, and that in words with the reason."""

    positions: tuple[int, ...]
    words: str


def asked_of(order: Order) -> Asked | None:
    """What a recheck asks for by the procedure it keeps; None for an order that rechecks nothing or has no procedure.

    Narrowed only where measuring again is all it is for, and where each thing in doubt was measured at a step: what
    another reason asks for is never left out.
    """
    calibrations = [row.calibration for row in order.doubts.select_related("calibration__instrument")]
    steps = list(Step.objects.filter(version=order.procedure_version_id or 0).order_by("position"))
    if not calibrations or not steps:
        return None
    taken = [each for row in calibrations for each in taken_on(row, order.device_id)]
    if why := _why_whole(order, calibrations) or _not_at_steps(taken):
        return _whole(why)
    at = {each.step.pk: _same_here(each.step, steps) for each in taken if each.step is not None}
    asked = _with_needs({step.pk for found in at.values() for step in found}, steps)
    if not any(at.values()):
        return _whole("none of the readings in doubt is a step of the procedure in force")
    if len(asked) == len(steps):
        return _whole("every step of it measures, or checks, what is in doubt")
    if not any(step.required for step in asked):
        return _whole("no step in doubt is one that must pass before the driver returns")
    gone = [each for each in taken if each.step is not None and not at[each.step.pk]]
    return Asked(tuple(step.position for step in asked), _narrowed(asked, steps, calibrations, gone))


def _why_whole(order: Order, calibrations: Sequence[Calibration]) -> str:
    """What else the order is for, in words; empty where it only measures again what is in doubt."""
    lines = order.reported.splitlines()
    if not order.doubts.filter(raised=True).exists() or any(not line.startswith(RECHECK) for line in lines):
        return "the order was open for another reason before the recheck was asked for"
    if order.due is not None:
        return f"“{order.due.plan}” is due with it"
    if order.tag is not None:
        return f"it answers tag {order.tag.written}"
    if Due.objects.filter(device=order.device_id, before_use=True, suspended=False).exists():
        return "the driver owes a service before it is used"
    if any(row.voided_at is not None for row in calibrations):
        return "a calibration that asked for it counts no more; see whether it is still needed"
    return ""


def _not_at_steps(taken: Sequence[Taken]) -> str:
    if not taken:
        return "nothing that was measured with the instrument is on record any more"
    beside = next((each for each in taken if each.step is None), None)
    return f"not all that is in doubt belongs to a step: {beside.what} of order {beside.order}" if beside else ""


def _whole(why: str) -> Asked:
    return Asked((), f"The whole procedure is asked for, because {why}.")


def _same_here(step: Step, steps: Sequence[Step]) -> list[Step]:
    """The steps of the procedure in force that measure what a step of an earlier version, or of another, measured.

    Told by the step itself, its words, its name in formulas within one procedure, or the safety quantity.
    """
    alike = [each for each in steps if each.kind == step.kind and same_kind(each.unit, step.unit)]
    own = bool(alike) and alike[0].version.procedure_id == step.version.procedure_id
    ways = (
        [each for each in alike if each.pk == step.pk],
        [each for each in alike if each.words.casefold().strip() == step.words.casefold().strip()],
        [each for each in alike if own and step.key and each.key == step.key],
        [each for each in alike if step.quantity and each.quantity == step.quantity],
    )
    return next((found for found in ways if found), [])


def _with_needs(chosen: set[int], steps: Sequence[Step]) -> list[Step]:
    """The chosen steps, what is worked out from them, what that needs besides, and every check that must pass."""
    by_key = {step.key: step for step in steps if step.key}
    takes = {
        step.pk: [by_key[name] for name in read_formula(step.formula).names if name in by_key]
        for step in steps
        if step.kind == Step.Kind.COMPUTED
    }
    grown = set(chosen)
    for pk, needs in takes.items():  # in the order of the steps: a formula takes from earlier ones only
        if any(need.pk in grown for need in needs):
            grown.add(pk)
    for pk in reversed(takes):
        if pk in grown:
            grown |= {need.pk for need in takes[pk]}
    return [step for step in steps if step.pk in grown or (step.kind == Step.Kind.CHECK and step.required)]


def _narrowed(
    asked: Sequence[Step], steps: Sequence[Step], calibrations: Iterable[Calibration], gone: Iterable[Taken]
) -> str:
    out = "; ".join(f"{row.instrument} was found out of its limits ({mention(row)})" for row in calibrations)
    told = (
        f"Only the readings in doubt: {len(asked)} of {len(steps)} steps, because {out}. Asked for are what was "
        "measured with it, what is worked out from that, and the checks that must pass before the driver returns."
    )
    if missing := list(dict.fromkeys(f"“{each.step.words}” (order {each.order})" for each in gone if each.step)):
        told += (
            f" No longer a step of the procedure in force, and so not asked for: {', '.join(missing)}. "
            "Measure that too where local policy asks for it."
        )
    return told
