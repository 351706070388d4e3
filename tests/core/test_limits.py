"""Readings against limits, and numbers as typed."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.limits import Limits, Verdict, read_number, verdict

FINITE = st.decimals(allow_nan=False, allow_infinity=False, places=4, min_value=-(10**6), max_value=10**6)
FIVE_PERCENT = Limits(Decimal("4.75"), Decimal("5.25"), "mL/h")


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("4.75", Verdict.PASS),
        ("5.25", Verdict.PASS),
        ("4.7499999999999999999999", Verdict.FAIL),
        ("5.2500000000000000000001", Verdict.FAIL),
    ],
)
def test_limits_are_inclusive_and_unrounded(value: str, expected: Verdict) -> None:
    """A reading on the limit passes, and one beyond it by any amount fails."""
    assert verdict(Decimal(value), FIVE_PERCENT) is expected


@given(FINITE, FINITE, FINITE)
def test_verdict_is_the_double_inequality(value: Decimal, one: Decimal, other: Decimal) -> None:
    """A reading passes exactly when low <= value <= high, and an open side never fails."""
    low, high = sorted((one, other))
    assert (verdict(value, Limits(low, high, "V")) is Verdict.PASS) == (low <= value <= high)
    assert (verdict(value, Limits(low, None, "V")) is Verdict.PASS) == (value >= low)
    assert (verdict(value, Limits(None, high, "V")) is Verdict.PASS) == (value <= high)


@pytest.mark.parametrize("value", ["NaN", "sNaN", "Infinity", "-Infinity"])
def test_a_reading_that_is_no_number_is_refused(value: str) -> None:
    """Neither NaN nor infinity is judged: both are refused, whatever the limits."""
    with pytest.raises(BadValueError, match="is not a number"):
        verdict(Decimal(value), FIVE_PERCENT)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (None, None, "at least one"),
        (Decimal(2), Decimal(1), "exchange them"),
        (Decimal("NaN"), Decimal(1), "not a number"),
        (Decimal(1), Decimal("Infinity"), "not a number"),
    ],
)
def test_useless_limits_are_refused(low: Decimal | None, high: Decimal | None, words: str) -> None:
    """Limits that judge nothing, or that nothing can meet, cannot be made."""
    with pytest.raises(BadValueError, match=words):
        Limits(low, high, "V")


def test_limits_in_words() -> None:
    """Limits read as a sentence would say them, without the zeros that a database column adds."""
    assert FIVE_PERCENT.words == "4.75 to 5.25 mL/h"
    assert Limits(None, Decimal("100.0000"), "uA").words == "at most 100 uA"
    assert Limits(Decimal("0.80"), None, "").words == "at least 0.8"


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("4.8", "4.8"),
        (" 4,8 ", "4.8"),
        ("-0,125", "-0.125"),
        ("\u22122.50", "-2.50"),
        ("+7", "7"),
        (".5", "0.5"),
        ("5.", "5"),
        ("1.234", "1.234"),
        ("1234,567", "1234.567"),
        ("1,2345", "1.2345"),
        ("007", "7"),
    ],
)
def test_numbers_as_people_type_them(typed: str, number: str) -> None:
    """Points and commas mark decimals, signs and spaces round the number are allowed, and no digit is lost."""
    assert read_number(typed) == Decimal(number)
    assert str(read_number("2.50")) == "2.50"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1,234", "could be 1.234 or 1234"),
        ("-12,500", "could be -12.500 or -12500"),
        ("1,234.5", "at most one decimal mark"),
        ("1.234,5", "at most one decimal mark"),
        ("1 234", "is not a number"),
        ("1e3", "is not a number"),
        ("4.8 mL", "without a unit"),
        ("1_000", "is not a number"),
        ("nan", "is not a number"),
        ("inf", "is not a number"),
        ("\u0663", "is not a number"),
        (".", "is not a number"),
        ("--1", "is not a number"),
        ("", "missing"),
        ("  ", "missing"),
    ],
)
def test_doubtful_numbers_are_refused_with_what_is_right(typed: str, words: str) -> None:
    """A text with two meanings, or none, is refused and says what to write instead."""
    with pytest.raises(BadValueError, match=words) as caught:
        read_number(typed)
    assert caught.value.field == "value"


def test_decimal_comma_can_be_ruled_out() -> None:
    """Where a file is known to use points, any comma is refused."""
    with pytest.raises(BadValueError, match="as a point"):
        read_number("4,8", decimal_comma_ok=False)
    assert read_number("4.8", decimal_comma_ok=False) == Decimal("4.8")


@given(FINITE)
def test_numbers_read_back(value: Decimal) -> None:
    """A decimal printed plainly reads back to itself."""
    assert read_number(f"{value:f}") == value
