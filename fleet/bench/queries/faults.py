"""What must hold of the steps of a procedure before they are worked."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.bench.models import Step
from fleet.bench.models.procedures import LONGEST_OPTION
from fleet.bench.queries.lines import NewStep
from fleet.core.errors import BadValueError
from fleet.core.formula import is_key, read_formula
from fleet.core.limits import Limits
from fleet.core.safety import Quantity
from fleet.stores.models import Instrument

NUMBERS: Final = (Step.Kind.READING, Step.Kind.COMPUTED)
MOST_DECIMALS: Final = 6
_LIMIT_DECIMALS: Final = 4
_LIMIT_LARGEST: Final = 10**8
_LONGEST: Final = {
    name: int(getattr(Step._meta.get_field(name), "max_length", 0))  # noqa: SLF001 - Django's public name for it
    for name in ("words", "caution", "unit", "limit_source", "key", "formula")
}


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a step; `position` counts from 1, 0 is the whole procedure. `field` is one of a `NewStep`."""

    position: int
    field: str
    words: str


def faults(lines: Sequence[NewStep], source: str) -> Iterator[Fault]:
    """All that stands against working these steps."""
    if not any(line.required for line in lines):
        yield Fault(0, "steps", "A procedure needs at least one step that must pass before return.")
    if not source.strip():
        yield Fault(0, "source", "Say where the procedure comes from, with document and edition.")
    seen: dict[str, str] = {}
    for position, line in enumerate(lines, start=1):
        for field, words in (*wrong_alone(line), *_wrong_beside(line, seen)):
            yield Fault(position, field, words)
        if line.key:
            seen[line.key] = line.kind


def wider(lines: Sequence[NewStep]) -> Iterator[str]:
    """The limits of a type that let more pass than those for all types, in words: a person has to mean it."""
    for position, line in enumerate(lines, start=1):
        for own in line.limits:
            low = line.low is not None and (own.low is None or own.low < line.low)
            high = line.high is not None and (own.high is None or own.high > line.high)
            if low or high:
                held, general = (_range(each.low, each.high, line.unit) for each in (own, line))
                yield f"Step {position}, {own.device_type}: {held} ({own.source}), for all types {general}"


def _range(low: Decimal | None, high: Decimal | None, unit: str) -> str:
    return "no limit" if low is None and high is None else Limits(low, high, unit).words


def wrong_alone(line: NewStep) -> Iterator[tuple[str, str]]:
    """What is wrong with a step whatever stands beside it: the field, and words that say what would be right."""
    if not line.words.strip():
        yield "words", "say what to do."
    if line.kind not in Step.Kind.values:
        yield "kind", f"“{line.kind}” is no kind of step; use {', '.join(Step.Kind.values)}."
    if line.instrument_kind and line.instrument_kind not in Instrument.Kind.values:
        known = ", ".join(Instrument.Kind.values)
        yield "instrument_kind", f"“{line.instrument_kind}” is no kind of instrument; use {known}."
    if line.quantity and line.quantity not in {each.value for each in Quantity}:
        known = ", ".join(each.value for each in Quantity)
        yield "quantity", f"“{line.quantity}” has no reference limits; use {known}, or leave it out."
    elif line.quantity:
        yield from _wrong_quantity(line)
    yield from _too_long(line)
    yield from _wrong_number(line)
    yield from _wrong_limits(line)
    yield from _wrong_options(line)
    yield from _wrong_formula(line)


def _wrong_quantity(line: NewStep) -> Iterator[tuple[str, str]]:
    """A reference limit is converted into the step's unit, and asks how it was measured."""
    quantity = Quantity(line.quantity)
    if line.kind == Step.Kind.COMPUTED:
        yield "quantity", "a computed reading is not measured; name the quantity at the reading it takes."
    elif line.unit.strip() and not quantity.takes(line.unit):
        yield "quantity", f"“{quantity.label}” is {quantity.kind}, and “{line.unit}” is no unit of it."


def _too_long(line: NewStep) -> Iterator[tuple[str, str]]:
    for name, most in _LONGEST.items():
        if len(getattr(line, name)) > most:
            yield name, f"{len(getattr(line, name))} characters are too many; {most} is the most."


def _wrong_number(line: NewStep) -> Iterator[tuple[str, str]]:
    if line.kind in NUMBERS:
        if not line.unit.strip():
            yield "unit", "a reading needs its unit."
        if line.decimals is not None and not 0 <= line.decimals <= MOST_DECIMALS:
            yield "decimals", f"give 0 to {MOST_DECIMALS} decimals."
        if line.key and not is_key(line.key):
            yield "key", f"“{line.key}” can't stand in a formula; use small letters, digits and _, a letter first."
    else:
        for name in ("unit", "key", "quantity"):
            if getattr(line, name):
                yield name, f"a {name} belongs to a reading."
        if line.decimals is not None:
            yield "decimals", "decimals belong to a reading."
    if line.kind == Step.Kind.COMPUTED and line.instrument_kind:
        yield "instrument_kind", "a computed reading is not measured; name the instrument at the readings it takes."


def _wrong_limits(line: NewStep) -> Iterator[tuple[str, str]]:
    if line.kind not in NUMBERS:
        if line.low is not None or line.high is not None or line.limits:
            yield "low", "limits belong to a reading, and say where they come from."
        return
    if line.low is not None or line.high is not None:
        yield from _wrong_bounds(line.low, line.high, line.limit_source, "limit_source", "")
    types = [own.device_type for own in line.limits]
    for own in line.limits:
        if own.low is None and own.high is None:
            yield "limits", f"the limits for {own.device_type} need at least one bound."
        yield from _wrong_bounds(own.low, own.high, own.source, "limits", f"for {own.device_type}: ")
    if twice := next((each for each in types if types.count(each) > 1), None):
        yield "limits", f"{twice} has limits twice."


def _wrong_bounds(
    low: Decimal | None, high: Decimal | None, source: str, field: str, of: str
) -> Iterator[tuple[str, str]]:
    if not source.strip():
        yield field, f"{of}limits belong to a reading, and say where they come from."
    for bound in (low, high):
        if bound is not None and not _kept(bound):
            yield field if of else "low", f"{of}{bound} can't be kept: at most {_LIMIT_DECIMALS} decimals."
            return
    if low is not None and high is not None and low > high:
        yield field if of else "low", f"{of}the lower limit {low} lies above the upper limit {high}."


def _kept(bound: Decimal) -> bool:
    if not bound.is_finite() or abs(bound) >= _LIMIT_LARGEST:
        return False
    return bound == round(bound, _LIMIT_DECIMALS)


def _wrong_options(line: NewStep) -> Iterator[tuple[str, str]]:
    options = [*line.passing, *line.failing]
    if line.kind != Step.Kind.CHOICE:
        if options:
            yield "passing", "options belong to a choice."
        return
    if not line.passing or len(options) < 2:  # noqa: PLR2004 - a choice is between two
        yield "passing", "a choice needs at least two options, one of which passes."
    if any(not option.strip() or len(option) > LONGEST_OPTION for option in options):
        yield "passing", f"each option needs words, at most {LONGEST_OPTION} characters."
    if len(set(options)) < len(options):
        yield "passing", "each option stands once."


def _wrong_formula(line: NewStep) -> Iterator[tuple[str, str]]:
    if line.kind != Step.Kind.COMPUTED:
        if line.formula:
            yield "formula", "a formula belongs to a computed reading."
        return
    if not line.formula.strip():
        yield "formula", "a computed reading needs its formula."
        return
    try:
        read_formula(line.formula)
    except BadValueError as error:
        yield "formula", str(error)


def _wrong_beside(line: NewStep, seen: dict[str, str]) -> Iterator[tuple[str, str]]:
    """What is wrong with a step after those before it, whose names are `seen`."""
    if line.key and line.key in seen:
        yield "key", f"the name “{line.key}” is taken by an earlier step."
    if line.kind != Step.Kind.COMPUTED:
        return
    try:
        names = read_formula(line.formula).names
    except BadValueError:
        return  # told by `wrong_alone`
    if not names:
        yield "formula", "the formula takes no reading; name at least one earlier step in it."
    for name in names:
        if name not in seen:
            known = ", ".join(seen) or "none has a name yet"
            yield "formula", f"no earlier reading is named “{name}”. Known there: {known}."
