"""Rated runtimes of a device type, and what a measured runtime is worth against them.

A driver's electrical power at delivery rate r is taken as P(r) = p0 + p1 r between two rates of the type's table
(the motor's steps per hour grow with the rate, the rest of the driver draws the same). A new pack carries the same
energy E at each, so the rated hours E / P(r) satisfy

    1 / hours(r) = linear in r between neighbouring table rates.

Outside the table the nearest end's hours are held and the value is flagged: nothing is known there.

Units: rates in mL/h, times in hours unless said. Source: interpolation of power, common practice, no source; the
reference rate of 5 mL/h for syringe drivers is IEC 60601-2-24's intermediate rate (from memory).
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike

from fleet.core.battery.arrays import BoolArray, FloatArray, column, first_bad, same_length
from fleet.core.errors import BadValueError

Number = int | float | Decimal | Fraction
_FLOAT_ALLOWANCE = 1e-12
#: Runtime fractions between which a typed test is taken as it is; outside it is asked back once. Our own choice, no
#: source: a pack below is rarely still in use, one above is more than makers promise.
LIKELY_FRACTIONS = (0.3, 1.3)


@dataclass(frozen=True)
class RatedHours:
    """Rated hours (same shape as the rates asked for), and where the table had to be held at its end."""

    hours: FloatArray
    outside_table: BoolArray


@dataclass(frozen=True)
class MeasuredFraction:
    """Measured over rated runtime, dimensionless and unrounded, and where the rating was held at a table end."""

    fraction: FloatArray
    outside_table: BoolArray


@dataclass(frozen=True, eq=False)
class RatedRuntimes:
    """A device type's table: a new pack at `rates` (K,) mL/h lasts `hours` (K,).

    Raises BadValueError, naming the field, unless both have the same length of at least one, each number is positive
    and finite, and the rates rise strictly.
    """

    rates: FloatArray
    hours: FloatArray

    def __post_init__(self) -> None:
        """Check the table and keep it as float arrays."""
        object.__setattr__(self, "rates", column(self.rates, "rates"))
        object.__setattr__(self, "hours", column(self.hours, "hours"))
        same_length(rates=self.rates, hours=self.hours)
        if not self.rates.size:
            message = "rates is empty; a type needs the rated runtime at one delivery rate at least."
            raise BadValueError(message, field="rates")
        for field, values in (("rates", self.rates), ("hours", self.hours)):
            first_bad(~(np.isfinite(values) & (values > 0)), values, field, "it must be a positive number")
        not_rising = np.append(False, np.diff(self.rates) <= 0)
        first_bad(not_rising, self.rates, "rates", "each rate must be larger than the one before it")

    def rated_hours(self, rate: ArrayLike) -> RatedHours:
        """Return what a new pack lasts at `rate` (any shape, mL/h). Raises BadValueError for a rate not above zero."""
        asked = _positive(rate, "rate")
        power = np.interp(asked, self.rates, 1 / self.hours)
        outside = (asked < self.rates[0]) | (asked > self.rates[-1])
        return RatedHours(hours=np.asarray(1 / power), outside_table=np.asarray(outside))


def runtime_fraction(measured_hours: ArrayLike, rate: ArrayLike, table: RatedRuntimes) -> MeasuredFraction:
    """Return measured / rated hours at the same rate, unrounded.

    `measured_hours` and `rate` (mL/h) broadcast together. Raises BadValueError for a negative or missing runtime.
    """
    measured = np.asarray(measured_hours, dtype=np.float64)
    first_bad(~(np.isfinite(measured) & (measured >= 0)), measured, "measured_hours", "it must be zero hours or more")
    rated = table.rated_hours(rate)
    fraction = np.asarray(measured / rated.hours)
    return MeasuredFraction(fraction, np.broadcast_to(rated.outside_table, fraction.shape))


def at_reference_temperature(
    fraction: ArrayLike, ambient_c: ArrayLike, *, coefficient: float | None, reference_c: float
) -> FloatArray:
    """Return what the runtime fraction would have been at the reference temperature: fraction / (1 + k (T - T_ref)).

    `ambient_c` (as `fraction`, in °C): T, nan where it was not read. `coefficient` k per K, None where the type states
    none. Either leaves the fraction as it is. Only for what goes into a forecast: the verdict of a test is that of the
    runtime as measured. Source: form as IEC 60896 has it for lead-acid (from memory); k is the maker's to state.
    """
    measured, ambient = np.broadcast_arrays(
        np.asarray(fraction, dtype=np.float64), np.asarray(ambient_c, dtype=np.float64)
    )
    gain = 1 + (coefficient or 0.0) * (ambient - reference_c)
    first_bad(gain <= 0, ambient, "ambient_c", f"the correction of {coefficient} per K does not reach that far")
    return np.asarray(np.where(np.isnan(ambient), measured, measured / gain))


def shortfall(charge_hours: ArrayLike, charging_hours_required: ArrayLike) -> FloatArray:
    """Return the part of the charging hours that was missing before a test: 0 for a full charge, 1 for none.

    Both in hours, broadcast together. Raises BadValueError as `short_charge` does.
    """
    charged = np.asarray(charge_hours, dtype=np.float64)
    first_bad(~(np.isfinite(charged) & (charged >= 0)), charged, "charge_hours", "it must be zero hours or more")
    return np.asarray(np.maximum(1 - charged / _positive(charging_hours_required, "charging_hours_required"), 0.0))


def short_charge(charge_hours: ArrayLike, charging_hours_required: ArrayLike) -> BoolArray:
    """Return where the charge before a test was shorter than the type asks, so that the test says little of the pack.

    Both in hours, broadcast together; exactly the hours required is enough. Raises BadValueError for a missing or
    negative charge. Source of the usual 10 h: common practice, no source; the maker's instructions win.
    """
    charged = np.asarray(charge_hours, dtype=np.float64)
    first_bad(~(np.isfinite(charged) & (charged >= 0)), charged, "charge_hours", "it must be zero hours or more")
    return np.asarray(charged < _positive(charging_hours_required, "charging_hours_required"))


def meets_level(measured: Number, rated: Number, level: Number) -> bool:
    """Return whether measured / rated >= level, compared as exact fractions and never rounded.

    `measured` and `rated` in the same unit (minutes or hours). A binary float is read as the shortest decimal that
    denotes it, which is what was typed: 5.6 of 7 hours is exactly 0.8, though 5.6 / 7.0 is below 0.8 in floats.
    384 of 480 minutes meets 0.80, 383 does not. Raises BadValueError for a number out of its range.
    """
    numerator, denominator, wanted = _exact(measured, "measured"), _exact(rated, "rated"), _exact(level, "level")
    if numerator < 0:
        message = f"measured is {measured}; it must be zero or more."
        raise BadValueError(message, field="measured")
    if denominator <= 0:
        message = f"rated is {rated}; it must be positive."
        raise BadValueError(message, field="rated")
    return numerator >= wanted * denominator


def is_likely(fraction: float, *, cut_short: bool) -> bool:
    """Return whether a runtime fraction is one that a pack may well show.

    `cut_short`: it was stopped early or charged too short, so that a low one needs no other explanation.
    """
    lowest, highest = LIKELY_FRACTIONS
    return fraction <= highest and (cut_short or fraction >= lowest)


def fractions_meet_level(fraction: FloatArray, level: float) -> BoolArray:
    """Return where stored runtime fractions (any shape) meet `level`, for lists too long for `meets_level`.

    Nothing is rounded, but a fraction that a float cannot hold exactly is not failed for that: one part in 10^12,
    under a microsecond in a day's runtime, is allowed (5.6 / 7.0 in floats is 0.7999999999999999).
    """
    return np.asarray(fraction >= level * (1 - _FLOAT_ALLOWANCE))


def _exact(value: Number, field: str) -> Fraction:
    try:
        return Fraction(repr(float(value))) if isinstance(value, float) else Fraction(value)
    except (ValueError, OverflowError) as error:
        message = f"{field} is {value}; it must be a finite number."
        raise BadValueError(message, field=field) from error


def _positive(values: ArrayLike, field: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    first_bad(~(np.isfinite(array) & (array > 0)), array, field, "it must be a positive number")
    return array
