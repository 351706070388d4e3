"""Month ends, completion and ageing against values worked out by hand."""

from datetime import date
from fractions import Fraction

import pytest

from fleet.core.due import DueMode, add_months, next_due
from fleet.core.share import completion, format_percent, share

# 480 dues: 441 on time, 9 late, 18 not located, 12 in use. Worked by hand.
DUE, ON_TIME, LATE, NOT_LOCATED, IN_USE = 480, 441, 9, 18, 12


@pytest.mark.parametrize(
    ("anchor", "months", "expected"),
    [
        (date(2026, 8, 31), 6, date(2027, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2028, 2, 29), 12, date(2029, 2, 28)),
        (date(2027, 1, 31), 0, date(2027, 1, 31)),
        (date(2027, 1, 31), 1, date(2027, 2, 28)),
        (date(2027, 1, 31), 2, date(2027, 3, 31)),
        (date(2027, 1, 31), 3, date(2027, 4, 30)),
    ],
)
def test_month_ends(anchor: date, months: int, expected: date) -> None:
    """Month ends clamp to the last day and the anchor's day comes back in a longer month."""
    assert add_months(anchor, months) == expected


def test_anchored_grid_does_not_drift_where_chaining_does() -> None:
    """Fixed dues from 31 Jan fall on 28, 31 and 30; chaining the same months would give 28, 28, 28."""
    anchor = date(2027, 1, 31)
    anchored: list[date] = []
    chained = anchor
    for _ in range(3):
        anchored.append(next_due(DueMode.FIXED, anchor, 1, anchored[-1] if anchored else None))
        chained = add_months(chained, 1)
    assert [day.day for day in anchored] == [28, 31, 30]
    assert chained.day == 28


@pytest.mark.parametrize(
    ("part", "whole", "exact", "printed"),
    [
        (ON_TIME, DUE, Fraction(91875, 100000), "91.875 %"),
        (ON_TIME + LATE, DUE, Fraction(9375, 10000), "93.750 %"),
        (NOT_LOCATED, DUE, Fraction(375, 10000), "3.750 %"),
        (IN_USE, DUE, Fraction(25, 1000), "2.500 %"),
        (ON_TIME + LATE, DUE - NOT_LOCATED, Fraction(450, 462), "97.403 %"),
        (14, 450, Fraction(14, 450), "3.111 %"),
    ],
)
def test_completion_arithmetic(part: int, whole: int, exact: Fraction, printed: str) -> None:
    """Completion shares are exact and print to three places as worked by hand."""
    value = share(part, whole)
    assert value == exact
    assert format_percent(value, 3) == printed


def test_the_parts_make_the_whole() -> None:
    """Every due of the worked case is accounted for by name, so none is dropped from the denominator."""
    assert ON_TIME + LATE + NOT_LOCATED + IN_USE == DUE
    assert completion(ON_TIME, DUE) == Fraction(441, 480)


def test_9996_of_10000_does_not_print_as_100() -> None:
    """99.96 % at one decimal says more than 99.9, never 100; at two decimals it is itself."""
    value = completion(9996, 10000)
    assert format_percent(value) == "> 99.9 %"
    assert format_percent(value, 2) == "99.96 %"
    assert format_percent(value, 0) == "> 99 %"
