"""Shares and their printing."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.share import completion, format_percent, share


@pytest.mark.parametrize(("part", "whole"), [(-1, 4), (5, 4), (1, 0)])
def test_impossible_share_is_refused(part: int, whole: int) -> None:
    """A part outside 0 to the whole is refused rather than printed as more than all."""
    with pytest.raises(BadValueError, match="between 0 and the whole"):
        share(part, whole)


def test_nothing_due_is_neither_all_nor_none() -> None:
    """No due gives no number, and prints in words that the caller may choose."""
    assert completion(0, 0) is None
    assert format_percent(None) == "none due"
    assert format_percent(None, none_words="no orders") == "no orders"


@given(st.integers(0, 10**6), st.integers(1, 10**6), st.integers(0, 4))
def test_only_all_prints_as_all_and_only_none_as_none(part: int, whole: int, places: int) -> None:
    """However many decimals, 100 is printed for exactly all of them and 0 for exactly none."""
    value = share(min(part, whole), whole)
    assert value is not None
    printed = format_percent(value, places)
    number = printed.removesuffix(" %")
    assert (number[0] not in "<>" and float(number) == 100) == (value == 1)
    assert (number[0] not in "<>" and float(number) == 0) == (value == 0)


@given(st.integers(0, 10**6), st.integers(1, 10**6), st.integers(0, 4))
def test_printed_number_is_true(part: int, whole: int, places: int) -> None:
    """A printed number lies within half a unit of its last place; a printed bound really bounds."""
    value = share(min(part, whole), whole)
    assert value is not None
    printed = format_percent(value, places).removesuffix(" %")
    if printed[0] == ">":
        assert value * 100 > Fraction(printed[2:])
    elif printed[0] == "<":
        assert value * 100 < Fraction(printed[2:])
    else:
        assert abs(value * 100 - Fraction(printed)) <= Fraction(1, 2 * 10**places)


def test_halves_go_up() -> None:
    """A half in the last place goes up, as on paper, not to the even digit."""
    assert format_percent(Fraction(125, 1000)) == "12.5 %"
    assert format_percent(Fraction(1225, 10000)) == "12.3 %"
    assert format_percent(Fraction(1245, 10000)) == "12.5 %"
