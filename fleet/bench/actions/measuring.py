"""A measured value: read in the step's unit, judged by all the limits that hold for it, kept with what judged it."""

from decimal import Decimal
from typing import Final

from fleet.bench.models import Reading
from fleet.bench.queries.judging import Judges, quantity_words
from fleet.core.errors import BadValueError
from fleet.core.judging import judge as verdict_of
from fleet.core.safety import CONTEXT_WORDS, Context, Quantity
from fleet.core.units import as_typed, magnitude, read_quantity, symbol_of

#: What a reading's column holds exactly.
DECIMALS: Final = 6
LARGEST: Final = 10**8


def measure(
    reading: Reading, typed: Decimal | str | None, context: Context, judges: Judges, *, passed: bool | None
) -> None:
    """Put value and verdict on a reading that is not saved yet; `passed` judges where no limit is stated.

    The value is judged with all its digits; one converted from another unit is kept to DECIMALS afterwards.
    """
    text = "" if typed is None else str(typed).strip()
    reading.value = read_quantity(text, reading.step.unit)
    number, unit = as_typed(text)
    converted = bool(unit) and symbol_of(unit) != symbol_of(reading.step.unit)
    reading.as_typed = f"{number} {symbol_of(unit)}" if converted else number
    _refuse_unkept(reading, converted=converted)
    _refuse_negative(reading)
    judge(reading, context, judges, passed=passed)
    if converted:
        reading.value = round(reading.value, DECIMALS)


def judge(reading: Reading, context: Context, judges: Judges, *, passed: bool | None) -> None:
    """Judge a value and write down what judged it. Raises BadValueError where something has to be known first."""
    known = judges.context(reading.step, context)
    if unknown := next(iter(judges.not_told(reading.step, known)), ""):
        is_of_limit = unknown in judges.asks(reading.step, known)
        why = "the limit depends on it" if is_of_limit else "a leakage current says nothing without it"
        raise BadValueError(f"Say the {CONTEXT_WORDS[unknown]}: {why}.", field=unknown)
    judgement = judges.judgement(reading, known)
    limits = judgement.effective.limits if judgement.effective else None
    reading.judged = judgement.as_stored()
    if limits is None or reading.value is None:
        reading.verdict = _by_person(reading, passed=passed)
    else:
        found = verdict_of(reading.value, limits, judgement.uncertainty, judgement.rule)
        reading.verdict = Reading.Verdict(found.value)


def _by_person(reading: Reading, *, passed: bool | None) -> Reading.Verdict:
    """Where no limit is stated a value is only recorded; a safety test is judged by the person, who says so."""
    if reading.step.quantity and passed is None:
        told = Quantity(reading.step.quantity).label
        message = f"No limit is stated for this: {told}. Say whether it passed, or have a limit stated."
        raise BadValueError(message, field="verdict")
    return Reading.Verdict.FAIL if passed is False else Reading.Verdict.PASS


def _refuse_negative(reading: Reading) -> None:
    """A time, a current or a mass is no less than nothing, unless the step itself has a limit below zero."""
    step, value = reading.step, reading.value
    what = quantity_words(step.quantity).lower() or magnitude(step.unit)
    bounds = [step.low, step.high, *(bound for own in step.limits.all() for bound in (own.low, own.high))]
    allowed = any(bound is not None and bound < 0 for bound in bounds)
    if what and not allowed and value is not None and value < 0:
        message = f"“{reading.as_typed}” is less than nothing: this is {what}. Read it again, without the minus sign."
        raise BadValueError(message, field="value")


def _refuse_unkept(reading: Reading, *, converted: bool) -> None:
    value, most = reading.value, reading.step.decimals
    if value is None:
        return
    decimals = -int(value.as_tuple().exponent)
    if abs(value) >= LARGEST or (decimals > DECIMALS and not converted):
        told = f"at most {DECIMALS} decimals, and less than {LARGEST}. Check the unit."
        raise BadValueError(f"“{reading.as_typed}” cannot be kept: {told}", field="value")
    if most is not None and decimals > most and not converted:
        at_most = f"at most {most} decimal{'' if most == 1 else 's'}" if most else "a whole number"
        raise BadValueError(f"“{reading.as_typed}” is finer than this step asks for: write {at_most}.", field="value")
