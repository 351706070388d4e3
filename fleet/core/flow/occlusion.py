"""Occlusion: what is stored behind a closed line, how long until the alarm, and pressures in one unit."""

from decimal import Decimal
from types import MappingProxyType
from typing import Final

from fleet.core.errors import BadValueError
from fleet.core.words import Worded


class PressureUnit(Worded):
    """A unit in which gauges show pressure."""

    KPA = "kPa", "kPa"
    MMHG = "mmHg", "mmHg"
    PSI = "psi", "psi"
    BAR = "bar", "bar"


#: kPa of one unit, exact by definition (NIST SP 811, appendix B, from memory): the pound-force on a square inch is
#: 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2, the conventional mmHg 13.5951 x 9.80665 Pa, the bar 100 kPa.
_KPA: Final = MappingProxyType(
    {
        PressureUnit.KPA: Decimal(1),
        PressureUnit.MMHG: Decimal("13.5951") * Decimal("9.80665") / 1000,
        PressureUnit.PSI: Decimal("0.45359237") * Decimal("9.80665") / Decimal("0.0254") ** 2 / 1000,
        PressureUnit.BAR: Decimal(100),
    }
)


def to_kpa(value: Decimal, unit: PressureUnit) -> Decimal:
    """Return a pressure in kPa, unrounded. Raises BadValueError for a value that is no finite number."""
    if not value.is_finite():
        raise BadValueError(f"A pressure of {value} is not a number; give a finite one.", field="pressure")
    return value * _KPA[unit]


def stored_ml(rate: Decimal, seconds: Decimal | int) -> Decimal:
    """Return the mL that a driver at `rate` mL/h has pressed into a closed line after `seconds`. Raises BadValueError.

    Published practice: stored volume = rate x time, as if all of it went into the line and the syringe's give.
    """
    if not rate > 0 or seconds < 0:
        raise BadValueError("Give a rate above zero and a time of zero or more.", field="rate")
    return rate * seconds / 3600


def minutes_to_alarm(stored: Decimal, rate: Decimal) -> Decimal:
    """Return the minutes until `stored` mL are pressed into a closed line at `rate` mL/h. Raises BadValueError."""
    if not rate > 0 or stored < 0:
        raise BadValueError("Give a rate above zero and a volume of zero or more.", field="rate")
    return stored * 60 / rate
