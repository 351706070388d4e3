"""A part of a whole, exact, and printed so that nothing is rounded up to "all" or down to "none"."""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Final

from fleet.core.errors import BadValueError

_HUNDRED: Final = 100


def share(part: int, whole: int) -> Fraction | None:
    """Return part / whole exactly; None when the whole is zero, which is neither all nor none.

    Raises BadValueError unless 0 <= part <= whole.
    """
    if not 0 <= part <= whole:
        message = f"{part} of {whole} is not a share; the part must lie between 0 and the whole."
        raise BadValueError(message, field="part")
    return Fraction(part, whole) if whole else None


def completion(on_time: int, scheduled: int) -> Fraction | None:
    """Return the share of the dues whose window ended in the period that were done within their window.

    `scheduled` counts each due whose window ended in the period, those not located and in use too. None when nothing
    was due. Definition: common practice, no source. Raises BadValueError unless 0 <= on_time <= scheduled.
    """
    return share(on_time, scheduled)


def format_percent(value: Fraction | None, places: int = 1, none_words: str = "none due") -> str:
    """Print a share as a percentage with `places` decimals, halves up; `none_words` when there is no whole.

    Only an exact 1 prints as 100 and only an exact 0 as 0: what would round to them prints as "> 99.9 %" or "< 0.1 %".
    """
    if value is None:
        return none_words
    unit = Decimal(1).scaleb(-places)
    percent = value * _HUNDRED
    rounded = (Decimal(percent.numerator) / percent.denominator).quantize(unit, ROUND_HALF_UP)
    if rounded >= _HUNDRED and value < 1:
        return f"> {_HUNDRED - unit} %"
    if rounded == 0 and value > 0:
        return f"< {unit} %"
    return f"{rounded} %"
