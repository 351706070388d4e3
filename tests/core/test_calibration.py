"""Whether an instrument is in date, and what its uncertainty leaves of a verdict."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fleet.core.calibration import DueState, Guarded, Way, corrected, could_turn, due_state, expanded, guarded, margin
from fleet.core.errors import BadValueError
from fleet.core.limits import Limits

TODAY = date(2027, 3, 14)
FIVE = Limits(Decimal(-5), Decimal(5), "%")


@pytest.mark.parametrize(
    ("days", "state"),
    [(-1, DueState.OVERDUE), (0, DueState.SOON), (30, DueState.SOON), (31, DueState.IN_DATE)],
)
def test_the_due_day_is_still_in_date(days: int, state: DueState) -> None:
    """Overdue begins the day after, and due soon is 30 days ahead."""
    assert due_state(TODAY + timedelta(days=days), TODAY) is state


def test_what_stands_before_the_date() -> None:
    """Withdrawn, never calibrated and out of its limits say more than a date does."""
    ahead = TODAY + timedelta(days=200)
    assert due_state(ahead, TODAY, withdrawn=True) is DueState.WITHDRAWN
    assert due_state(None, TODAY) is DueState.NEVER
    assert due_state(ahead, TODAY, usable=False) is DueState.UNUSABLE


@pytest.mark.parametrize(
    ("stated", "stated_unit", "unit", "is_"),
    [
        ("0.2", "kPa", "kPa", "0.2"),
        ("0.5", "%", "kPa", "0.4"),
        ("0.5", "% of reading", "kPa", "0.4"),
        ("0.5", "%", "%", "0.5"),
        ("0.5", "% of reading", "%", "0.5"),
        ("1", "mmHg", "kPa", "0.133322387415"),
        ("1", "mL", "kPa", None),
        (None, "kPa", "kPa", None),
    ],
)
def test_the_uncertainty_at_a_reading(stated: str | None, stated_unit: str, unit: str, is_: str | None) -> None:
    """In the reading's unit as stated, of the reading where it is a share, converted where of its kind."""
    told = None if stated is None else Decimal(stated)
    assert expanded(Decimal(-80), told, stated_unit, unit) == (None if is_ is None else Decimal(is_))


def test_an_uncertainty_below_zero_is_refused() -> None:
    """It would widen the limits."""
    with pytest.raises(BadValueError, match="not below zero"):
        expanded(Decimal(1), Decimal(-1), "kPa", "kPa")


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("4.5", Guarded.PASS),
        ("4.500001", Guarded.CANNOT_TELL),
        ("5", Guarded.CANNOT_TELL),
        ("5.5", Guarded.CANNOT_TELL),
        ("5.500001", Guarded.FAIL),
        ("-4.5", Guarded.PASS),
        ("-5.6", Guarded.FAIL),
    ],
)
def test_a_reading_near_its_limit(value: str, verdict: Guarded) -> None:
    """With U = 0.5 the guard band reaches from 4.5 to 5.5, its bounds on the surer side."""
    assert guarded(Decimal(value), FIVE, Decimal("0.5")) is verdict


def test_one_open_side_is_not_guarded() -> None:
    """At most 100 guards at 100 only."""
    leakage = Limits(None, Decimal(100), "uA")
    assert guarded(Decimal(0), leakage, Decimal(5)) is Guarded.PASS
    assert margin(Decimal(96), leakage) == 4
    assert margin(Decimal(104), leakage) == -4


def test_limits_narrower_than_the_uncertainty_pass_nothing() -> None:
    """An instrument that cannot resolve the limits never says pass."""
    assert guarded(Decimal(0), FIVE, Decimal(6)) is Guarded.CANNOT_TELL


@pytest.mark.parametrize(
    ("value", "way", "could"),
    [
        ("4.7", Way.HIGH, True),  # 4.7 - 0.3 = 4.4, below 4.5
        ("4.8", Way.HIGH, False),  # 4.8 - 0.3 = 4.5, which passes
        ("5.4", Way.HIGH, False),  # 5.4 - 0.3 = 5.1, further inside
        ("5.4", Way.LOW, True),  # 5.4 + 0.3 = 5.7, above 5.5
        ("5.2", Way.LOW, False),  # 5.2 + 0.3 = 5.5, which passes
        ("4.7", Way.LOW, False),  # 4.7 + 0.3 = 5.0, further inside
        ("4.7", Way.UNKNOWN, True),
        ("5.4", Way.UNKNOWN, True),
        ("5.0", Way.UNKNOWN, False),  # 0.5 from both
        ("4.4", Way.HIGH, False),  # outside as it was read: nothing was turned
        ("5.6", Way.LOW, False),
        ("4.4", Way.UNKNOWN, True),
    ],
)
def test_an_error_turns_in_its_own_way_only(value: str, way: Way, *, could: bool) -> None:
    """From 4.5 to 5.5 mL, found off by 0.3 mL at most: what read high may lie lower, what read low higher."""
    assert could_turn(Decimal(value), Limits(Decimal("4.5"), Decimal("5.5"), "mL"), Decimal("0.3"), way) is could


def test_a_limit_on_the_far_side_is_never_reached() -> None:
    """At most 100 uA: what read high was lower still, what read low by 5 may be 101."""
    leakage = Limits(None, Decimal(100), "uA")
    assert not could_turn(Decimal(96), leakage, Decimal(5), Way.HIGH)
    assert could_turn(Decimal(96), leakage, Decimal(5), Way.LOW)


def test_a_known_error_is_taken_off_and_an_unknown_one_is_not() -> None:
    """4.9 read 0.3 high is 4.6, read 0.3 low is 5.2; below zero as well: -4.5 read 2.1 high is -6.6."""
    assert corrected(Decimal("4.9"), Decimal("0.3"), Way.HIGH) == Decimal("4.6")
    assert corrected(Decimal("4.9"), Decimal("0.3"), Way.LOW) == Decimal("5.2")
    assert corrected(Decimal("-4.5"), Decimal("2.1"), Way.HIGH) == Decimal("-6.6")
    assert corrected(Decimal("4.9"), Decimal("0.3"), Way.UNKNOWN) is None
