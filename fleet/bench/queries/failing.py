"""Steps that failed: which still do, and what is to be explained before they pass."""

from typing import Final

from fleet.bench.models import Order, Reading, Step
from fleet.core.formula import read_formula

FAILED: Final = frozenset({Reading.Verdict.FAIL.value, Reading.Verdict.NOT_PROVEN.value})


def last_judged(order: Order) -> dict[int, Reading]:
    """By step, the last answer that judged it: "not applicable" in between takes no failure away."""
    rows = Reading.objects.filter(order=order).exclude(verdict=Reading.Verdict.NOT_APPLICABLE)
    return {reading.step_id: reading for reading in rows.select_related("step").order_by("pk")}


def verdicts(order: Order) -> dict[int, str]:
    """What counts of each answered step: its latest answer, but a failure where that only says "not applicable"."""
    held: dict[int, str] = {}
    judged: dict[int, str] = {}
    rows = Reading.objects.filter(order=order).order_by("pk").values_list("step_id", "verdict", "latest")
    for step, verdict, counts in rows:
        if verdict != Reading.Verdict.NOT_APPLICABLE:
            judged[step] = verdict
        if counts:
            held[step] = judged.get(step, verdict) if judged.get(step) in FAILED else verdict
    return held


def failing_steps(order: Order) -> set[int]:
    """The required steps whose last judged answer failed, and those whose values a failed computed step takes."""
    held = last_judged(order)
    failing = {pk for pk, reading in held.items() if reading.verdict in FAILED and reading.step.required}
    computed = [held[pk].step for pk in failing if held[pk].step.kind == Step.Kind.COMPUTED]
    names = {name for step in computed for name in read_formula(step.formula).names}
    if names:
        rows = Step.objects.filter(version_id=order.procedure_version_id, key__in=names)
        failing |= set(rows.values_list("pk", flat=True))
    return failing
