"""Rated-runtime tables and fractions."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fleet.core.battery.runtime import (
    RatedRuntimes,
    at_reference_temperature,
    fractions_meet_level,
    meets_level,
    runtime_fraction,
    short_charge,
    shortfall,
)
from fleet.core.errors import BadValueError

# Powers 1/12, 1/8 and 1/4 per hour: the table's energy is spent in a twelfth, an eighth, a quarter each hour.
TABLE = RatedRuntimes(rates=np.array([1.0, 5.0, 25.0]), hours=np.array([12.0, 8.0, 4.0]))
HOURS = st.floats(0.1, 100.0)


@st.composite
def tables(draw: st.DrawFn) -> RatedRuntimes:
    """Tables of 1 to 5 rates."""
    rates = draw(st.lists(st.integers(1, 1000), min_size=1, max_size=5, unique=True))
    hours = draw(st.lists(HOURS, min_size=len(rates), max_size=len(rates)))
    return RatedRuntimes(rates=np.sort(np.array(rates) / 10), hours=np.array(hours))


def test_between_rates_power_is_interpolated() -> None:
    """Half-way between 1 and 5 mL/h the power is (1/12 + 1/8) / 2 = 5/48 per hour, so a new pack lasts 9.6 h."""
    assert_allclose(TABLE.rated_hours([1.0, 3.0, 5.0, 25.0]).hours, [12.0, 9.6, 8.0, 4.0], rtol=1e-15)


def test_outside_the_table_the_end_is_held_and_flagged() -> None:
    """Nothing is extrapolated: a rate beyond the table takes the nearest end's hours and says so."""
    rated = TABLE.rated_hours([0.1, 1.0, 25.0, 100.0])
    assert_allclose(rated.hours, [12.0, 12.0, 4.0, 4.0], rtol=1e-15)
    assert_array_equal(rated.outside_table, [True, False, False, True])


def test_fractions_keep_the_flag_of_their_rate() -> None:
    """One rate outside the table flags every fraction taken against it."""
    found = runtime_fraction([6.0, 3.0], 0.5, TABLE)
    assert_allclose(found.fraction, [0.5, 0.25], rtol=1e-15)
    assert_array_equal(found.outside_table, [True, True])


@given(tables(), st.floats(0.05, 200.0))
def test_rated_hours_stay_between_the_tables_own(table: RatedRuntimes, rate: float) -> None:
    """Interpolation never leaves the range of the hours in the table."""
    hours = table.rated_hours(rate).hours
    assert table.hours.min() * (1 - 1e-12) <= hours <= table.hours.max() * (1 + 1e-12)


@given(tables(), st.floats(0.0, 50.0), st.floats(0.05, 200.0), st.floats(0.01, 100.0))
def test_the_unit_of_time_does_not_matter(table: RatedRuntimes, hours: float, rate: float, unit: float) -> None:
    """A fraction is the same whether runtime and table are in hours or in any other unit."""
    scaled = RatedRuntimes(rates=table.rates, hours=table.hours * unit)
    expected = runtime_fraction(hours, rate, table).fraction
    assert_allclose(runtime_fraction(hours * unit, rate, scaled).fraction, expected, rtol=1e-12, atol=1e-300)


@pytest.mark.parametrize(
    ("rates", "hours", "field", "words"),
    [
        ([], [], "rates", "at one delivery rate at least"),
        ([1.0, 5.0], [8.0], "hours", "hours has 1 rows and rates has 2"),
        ([5.0, 1.0], [8.0, 9.0], "rates", r"rates\[1\] is 1.0; each rate must be larger"),
        ([5.0, 5.0], [8.0, 9.0], "rates", r"rates\[1\] is 5.0; each rate must be larger"),
        ([0.0, 5.0], [8.0, 9.0], "rates", r"rates\[0\] is 0.0; it must be a positive number"),
        ([1.0, 5.0], [8.0, float("nan")], "hours", r"hours\[1\] is nan; it must be a positive number"),
        ([[1.0]], [8.0], "rates", "2 dimensions"),
        (["slow"], [8.0], "rates", "must be numbers"),
    ],
)
def test_an_unusable_table_is_refused(rates: list[float], hours: list[float], field: str, words: str) -> None:
    """A table that cannot rate a test is refused with field, row and value."""
    with pytest.raises(BadValueError, match=words) as refusal:
        RatedRuntimes(rates=np.array(rates), hours=np.array(hours))
    assert refusal.value.field == field


@pytest.mark.parametrize("rate", [0.0, -5.0, float("nan"), float("inf")])
def test_a_rate_that_is_none_is_refused(rate: float) -> None:
    """A delivery rate must be a positive number."""
    with pytest.raises(BadValueError, match=r"rate\[0\]"):
        TABLE.rated_hours(rate)


@pytest.mark.parametrize("hours", [-0.1, float("nan")])
def test_missing_hours_are_refused(hours: float) -> None:
    """Neither a runtime nor a charge may be missing or negative."""
    with pytest.raises(BadValueError, match="measured_hours"):
        runtime_fraction(hours, 5.0, TABLE)
    with pytest.raises(BadValueError, match="charge_hours"):
        short_charge(hours, 10.0)


@given(st.integers(0, 10_000), st.integers(1, 10_000), st.integers(1, 100))
def test_the_level_is_compared_exactly(measured: int, rated: int, percent: int) -> None:
    """The verdict is that of whole-number arithmetic, in whatever kind of number the values come."""
    expected = 100 * measured >= percent * rated
    assert meets_level(measured, rated, percent / 100) is expected
    assert meets_level(measured / 10, rated / 10, Decimal(percent) / 100) is expected
    assert meets_level(Fraction(measured, 60), Fraction(rated, 60), Fraction(percent, 100)) is expected


@given(st.integers(0, 10_000), st.integers(1, 10_000), st.integers(1, 100))
def test_lists_are_judged_as_single_tests_are(measured: int, rated: int, percent: int) -> None:
    """Stored fractions get the verdict of the exact comparison."""
    verdict = fractions_meet_level(np.array([measured / rated]), percent / 100)
    assert bool(verdict[0]) is meets_level(measured, rated, percent / 100)


def test_stored_hours_that_a_float_cannot_hold_meet_the_level() -> None:
    """5.6 / 7.0 is below 0.8 in floats and meets 0.80 all the same; a microsecond less in seven hours does not."""
    assert_array_equal(fractions_meet_level(np.array([5.6 / 7.0, (5.6 - 1e-6 / 3600) / 7.0]), 0.80), [True, False])


@pytest.mark.parametrize(
    ("measured", "rated", "level", "field"),
    [(-1, 480, 0.8, "measured"), (384, 0, 0.8, "rated"), (384, 480, float("nan"), "level")],
)
def test_numbers_out_of_range_are_refused(measured: float, rated: float, level: float, field: str) -> None:
    """A comparison that makes no sense is refused with the name of the number at fault."""
    with pytest.raises(BadValueError) as refusal:
        meets_level(measured, rated, level)
    assert refusal.value.field == field


def test_a_warm_test_is_brought_to_the_reference_temperature() -> None:
    """At 0.6 % a degree, 0.9 measured at 30 °C is 0.9 / 1.06 at 20 °C, and at 20 °C it is what it was."""
    found = at_reference_temperature([0.9, 0.9, 0.9], [30.0, 20.0, 10.0], coefficient=0.006, reference_c=20.0)
    assert_allclose(found, [0.9 / 1.06, 0.9, 0.9 / 0.94], rtol=1e-15)


def test_without_a_temperature_or_a_coefficient_nothing_is_corrected() -> None:
    """A temperature that nobody read, or a type that states no coefficient, leaves the fraction as it is."""
    assert_array_equal(at_reference_temperature([0.9], [np.nan], coefficient=0.006, reference_c=20.0), [0.9])
    assert_array_equal(at_reference_temperature([0.9], [35.0], coefficient=None, reference_c=20.0), [0.9])


def test_a_correction_beyond_sense_is_refused() -> None:
    """A cold at which a pack would run for nothing has no correction."""
    with pytest.raises(BadValueError, match=r"ambient_c\[0\] is -10.0"):
        at_reference_temperature([0.9], [-10.0], coefficient=0.05, reference_c=20.0)


def test_the_shortfall_of_a_charge_is_the_part_that_was_missing() -> None:
    """Seven and a half of ten hours lack a quarter, ten or more lack nothing, none lacks all."""
    assert_array_equal(shortfall([7.5, 10.0, 14.0, 0.0], 10.0), [0.25, 0.0, 0.0, 1.0])
    with pytest.raises(BadValueError, match="charge_hours"):
        shortfall([np.nan], 10.0)
    with pytest.raises(BadValueError, match="charging_hours_required"):
        shortfall([5.0], 0.0)
