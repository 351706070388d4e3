"""A step as a page shows it before it is worked: its limits in words, its formula with the steps it takes."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.bench.models import ProcedureVersion, Step
from fleet.bench.queries.facts import limits_of
from fleet.core.errors import BadValueError
from fleet.core.formula import put_in, read_formula
from fleet.core.limits import Limits


@dataclass(frozen=True, slots=True)
class ShownStep:
    """A step with its limits for all types and for each type that has its own, and its formula in words."""

    step: Step
    limits: str
    by_type: tuple[tuple[str, str, str], ...]
    formula: str


def shown_steps(version: ProcedureVersion) -> list[ShownStep]:
    """The steps of a version, in order."""
    steps = list(version.steps.prefetch_related("limits__device_type__maker"))
    return [_shown(step, steps) for step in steps]


def _shown(step: Step, steps: Sequence[Step]) -> ShownStep:
    limits = limits_of(step, None)
    by_type = tuple(
        (str(each.device_type), Limits(each.low, each.high, step.unit).words, each.source) for each in step.limits.all()
    )
    return ShownStep(step, limits.words if limits else "", by_type, formula_words(step, steps))


def formula_words(step: Step, steps: Sequence[Step]) -> str:
    """The formula with the steps it takes; as it was typed where it can't be read."""
    if step.kind != Step.Kind.COMPUTED:
        return ""
    try:
        read = read_formula(step.formula)
    except BadValueError:
        return step.formula
    return put_in(read, {each.key: f"step {each.position}" for each in steps if each.key})
