"""Occlusion: what is stored behind a closed line, how long until the alarm, and pressures in one unit."""

from decimal import Decimal

from fleet.core.errors import BadValueError
from fleet.core.units import convert
from fleet.core.words import Worded


class PressureUnit(Worded):
    """A unit in which gauges show pressure."""

    KPA = "kPa", "kPa"
    MMHG = "mmHg", "mmHg"
    PSI = "psi", "psi"
    BAR = "bar", "bar"


def to_kpa(value: Decimal, unit: PressureUnit) -> Decimal:
    """Return a pressure in kPa, unrounded. Raises BadValueError for a value that is no finite number."""
    if not value.is_finite():
        raise BadValueError(f"A pressure of {value} is not a number; give a finite one.", field="pressure")
    return convert(value, unit.value, PressureUnit.KPA.value)


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
