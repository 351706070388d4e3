"""A reading against its limits, and numbers as people type them.

Values are decimals and are compared as they were read, never rounded: 383 of 480 minutes does not meet 0.80.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.core.errors import BadValueError
from fleet.core.words import Worded

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
#: One comma, one to three digits before it that do not begin with 0, exactly three after it.
_TWO_MEANINGS: Final = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_MINUS_SIGN: Final = "\u2212"


class Verdict(Worded):
    """Whether a reading lies within its limits. NOT_PROVEN: within, by less than the uncertainty a rule asks for."""

    PASS = "pass", "Pass"
    FAIL = "fail", "Fail"
    NOT_PROVEN = "near", "Not proven: within the limits, but inside the guard band"


@dataclass(frozen=True, slots=True)
class Limits:
    """The lowest and the highest reading that passes, both inclusive, in `unit`. None leaves that side open.

    Raises BadValueError when both sides are open, a limit is no finite number, or they are the wrong way round.
    """

    low: Decimal | None
    high: Decimal | None
    unit: str

    def __post_init__(self) -> None:
        """Refuse limits that nothing, or everything, would pass."""
        for field, limit in (("low", self.low), ("high", self.high)):
            if limit is not None and not limit.is_finite():
                raise BadValueError(f"The limit {limit} is not a number; give a finite one.", field=field)
        if self.low is None and self.high is None:
            raise BadValueError("Limits that are open on both sides judge nothing; give at least one.", field="low")
        if self.low is not None and self.high is not None and self.low > self.high:
            message = f"The low limit {self.low} lies above the high limit {self.high}; exchange them."
            raise BadValueError(message, field="low")

    @property
    def words(self) -> str:
        """The limits as a person reads them: "4.75 to 5.25 mL/h", "at most 100 uA", "at least 0.8"."""
        low, high = (None if limit is None else f"{limit.normalize():f}" for limit in (self.low, self.high))
        if low is None:
            text = f"at most {high}"
        elif high is None:
            text = f"at least {low}"
        else:
            text = f"{low} to {high}"
        return f"{text} {self.unit}".rstrip()


def verdict(value: Decimal, limits: Limits) -> Verdict:
    """Return PASS when the unrounded value lies within the inclusive limits, else FAIL.

    `value` is in the unit of the limits. Raises BadValueError for a value that is no finite number.
    """
    if not value.is_finite():
        raise BadValueError(f"The reading {value} is not a number; give a finite one.", field="value")
    too_low = limits.low is not None and value < limits.low
    too_high = limits.high is not None and value > limits.high
    return Verdict.FAIL if too_low or too_high else Verdict.PASS


def read_number(text: str, *, decimal_comma_ok: bool = True) -> Decimal:
    """Return the number in `text`, digit for digit as typed.

    A point is always the decimal mark. A comma is one too where `decimal_comma_ok`, unless the text could as well be a
    number with a thousands mark: "1,234" is refused, while "4,8", "0,125" and "1234,567" are read. Thousands marks,
    exponents and units are refused. Raises BadValueError that says what would be right.
    """
    bare = text.strip().replace(_MINUS_SIGN, "-")
    if not bare:
        raise BadValueError("A number is missing here.", field="value")
    if "," in bare and not decimal_comma_ok:
        raise BadValueError(f'"{text}" has a comma; write the decimal mark as a point, such as 4.8.', field="value")
    if not _NUMBER.fullmatch(bare):
        message = f'"{text}" is not a number; write digits with at most one decimal mark, such as 4.8, without a unit.'
        raise BadValueError(message, field="value")
    if _TWO_MEANINGS.fullmatch(bare):
        one, other = bare.replace(",", "."), bare.replace(",", "")
        raise BadValueError(f'"{text}" could be {one} or {other}; write the one that is meant.', field="value")
    return Decimal(bare.replace(",", "."))
