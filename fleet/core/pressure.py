"""Pressure between the units that test instruments show, from exact definitions.

Store a reading as entered with its unit; convert only to compare or to show. Definitions: the pound is 0.45359237 kg
and the inch 0.0254 m (international yard and pound, 1959), standard gravity 9.80665 m/s2 (3rd CGPM, 1901); the
conventional millimetre of mercury is 13.5951 times a millimetre of water, 133.322387415 Pa (ISO 80000-4, from memory).
"""

from decimal import Context, Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from fleet.core.errors import BadValueError
from fleet.core.words import Worded

_GRAVITY: Final = Fraction("9.80665")
_CONTEXT: Final = Context(prec=28)


class PressureUnit(Worded):
    """A unit of pressure; the label is its symbol."""

    KPA = "kpa", "kPa"
    PSI = "psi", "psi"
    MMHG = "mmhg", "mmHg"
    BAR = "bar", "bar"


#: Kilopascals in one unit, exact.
KILOPASCALS: Final = MappingProxyType(
    {
        PressureUnit.KPA: Fraction(1),
        PressureUnit.PSI: Fraction("0.45359237") * _GRAVITY / Fraction("0.0254") ** 2 / 1000,
        PressureUnit.MMHG: Fraction("13.5951") * _GRAVITY / 1000,
        PressureUnit.BAR: Fraction(100),
    }
)


def convert_pressure(value: Decimal, given: PressureUnit, wanted: PressureUnit) -> Decimal:
    """Return `value` of the unit `given` in the unit `wanted`, to 28 significant digits.

    Raises BadValueError for a value that is no finite number.
    """
    if not value.is_finite():
        raise BadValueError(f"The pressure {value} is not a number; give a finite one.", field="value")
    exact = Fraction(value) * KILOPASCALS[given] / KILOPASCALS[wanted]
    return _CONTEXT.divide(Decimal(exact.numerator), Decimal(exact.denominator))
