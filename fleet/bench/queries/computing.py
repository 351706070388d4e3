"""Computed readings: which numbers a formula takes from the answers of its order, and what still stands against it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fleet.bench.models import Order, Reading, Step
from fleet.bench.queries.facts import number_in_words
from fleet.core.errors import BadValueError
from fleet.core.formula import Formula, put_in, read_formula, worked_out

MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class Computed:
    """A computed reading as it now stands: its value, or why there is none yet; never both.

    `in_words` names the steps, `worked` has the numbers put in. `asks` are the steps whose values it takes.
    """

    formula: Formula
    asks: tuple[Step, ...]
    in_words: str
    worked: str = ""
    value: Decimal | None = None
    missing: str = ""


def computed_with(reading: Reading) -> list[Reading]:
    """The computed readings that this newest answer brought about: they were made after it, in the same act."""
    if reading.step.kind == Step.Kind.COMPUTED:
        return []
    rows = Reading.objects.filter(order=reading.order_id, latest=True, pk__gt=reading.pk)
    return list(rows.filter(step__kind=Step.Kind.COMPUTED).select_related("step", "order__device"))


def latest_readings(order: Order) -> dict[int, Reading]:
    """The answer that counts at each step of an order, by step."""
    return {reading.step_id: reading for reading in Reading.objects.filter(order=order, latest=True)}


def computed(step: Step, steps: Sequence[Step], latest: Mapping[int, Reading]) -> Computed:
    """Work out one computed step from the answers that count; `steps` are those of its version."""
    formula = read_formula(step.formula)
    by_key = {each.key: each for each in steps if each.key and each.position < step.position}
    asks = tuple(by_key[name] for name in formula.names)
    in_words = put_in(formula, {each.key: f"step {each.position}" for each in asks})
    blank = Computed(formula, asks, in_words)
    if missing := [words for each in asks if (words := _missing(each, latest.get(each.pk)))]:
        return _without(blank, "; ".join(missing))
    given = {each.key: latest[each.pk] for each in asks}
    numbers = {key: reading.value for key, reading in given.items() if reading.value is not None}
    worked = put_in(formula, {key: number_in_words(reading) for key, reading in given.items()})
    try:
        return Computed(formula, asks, in_words, worked, worked_out(formula, numbers))
    except BadValueError as error:
        return _without(blank, f"{error} ({worked})")


def measured_for(reading: Reading, steps: Sequence[Step], readings: Iterable[Reading]) -> list[Reading]:
    """What was measured for a computed reading, also through another computed one; empty for any other reading.

    `readings` are those of its order, also the replaced. A computed reading is made after what it takes, in the same
    act, so it took the last answer before its own at each step.
    """
    step = next(each for each in steps if each.pk == reading.step_id)
    if step.kind != Step.Kind.COMPUTED or reading.value is None:
        return []
    held = list(readings)
    found: dict[int, Reading] = {}
    for name in read_formula(step.formula).names:
        asked = next(each for each in steps if each.key == name)
        before = [each for each in held if each.step_id == asked.pk and each.pk < reading.pk]
        if before:
            taken = max(before, key=lambda each: each.pk)
            own = measured_for(taken, steps, held) if asked.kind == Step.Kind.COMPUTED else [taken]
            found |= {each.pk: each for each in own}
    return list(found.values())


def _without(blank: Computed, why: str) -> Computed:
    return Computed(blank.formula, blank.asks, blank.in_words, missing=why)


def _missing(step: Step, reading: Reading | None) -> str:
    if reading is None:
        return f"step {step.position} has no value yet"
    return f"step {step.position} was not applicable" if reading.value is None else ""
