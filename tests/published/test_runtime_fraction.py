"""Published and commonly used figures of battery runtime tests."""

import numpy as np
import pytest

from fleet.core.battery.runtime import RatedRuntimes, meets_level, runtime_fraction, short_charge

# Common practice, no source: a new pack of a syringe driver carries about 7 h at 5 mL/h and takes about 10 h to charge.
REFERENCE = RatedRuntimes(rates=np.array([5.0]), hours=np.array([7.0]))
CHARGING_HOURS = 10


@pytest.mark.parametrize(("hours", "fraction"), [(7.0, 1.0), (5.6, 0.80), (3.5, 0.5)])
def test_hours_at_the_reference_rate(hours: float, fraction: float) -> None:
    """A runtime at 5 mL/h is its share of the 7 h a new pack lasts (common practice, no source)."""
    found = runtime_fraction(hours, 5.0, REFERENCE)
    assert float(found.fraction) == pytest.approx(fraction, rel=1e-15)
    assert not found.outside_table


@pytest.mark.parametrize(("minutes", "meets"), [(480, True), (384, True), (383, False), (383.99999, False), (0, False)])
def test_minutes_against_an_80_percent_level(minutes: float, *, meets: bool) -> None:
    """Of 480 minutes 384 meet a level of 0.80 and 383 (79.79 %) do not, unrounded (common practice, no source)."""
    assert meets_level(minutes, 480, 0.80) is meets


def test_hours_that_a_float_cannot_hold_meet_the_level() -> None:
    """5.6 of 7 hours is exactly 0.80 and meets it, although the quotient of the two floats is below 0.8."""
    assert 5.6 / 7.0 < 0.8
    assert meets_level(5.6, 7.0, 0.8)


@pytest.mark.parametrize(("charged", "short"), [(10.0, False), (12.0, False), (9.99, True), (0.0, True)])
def test_ten_hours_of_charge(charged: float, *, short: bool) -> None:
    """A test after less than the 10 h a charge takes is no full test; exactly 10 h will do (common practice)."""
    assert bool(short_charge(charged, CHARGING_HOURS)) is short
