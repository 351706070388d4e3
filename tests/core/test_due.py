"""Calendar arithmetic of plans and dues."""

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.due import (
    DueMode,
    add_months,
    days_late,
    earliest,
    is_late,
    next_due,
    next_due_by_count,
    window,
)
from fleet.core.errors import BadValueError

DAYS = st.dates(date(1950, 1, 1), date(2150, 12, 31))
MONTHS = st.integers(1, 72)
TODAY = date(2026, 11, 25)
MARCH = date(2026, 3, 1)


@given(DAYS, st.integers(-600, 600))
def test_months_agree_with_dateutil(anchor: date, months: int) -> None:
    """Adding months gives what python-dateutil's relativedelta gives, for every date and either sign."""
    assert add_months(anchor, months) == anchor + relativedelta(months=months)


@given(DAYS, st.integers(-600, 600))
def test_month_moves_whole_and_day_only_shrinks(anchor: date, months: int) -> None:
    """The month moves by exactly the number asked, and the day is the anchor's or the month's last."""
    moved = add_months(anchor, months)
    assert moved.year * 12 + moved.month == anchor.year * 12 + anchor.month + months
    assert moved.day == anchor.day or (moved.day < anchor.day and (moved + timedelta(days=1)).day == 1)


@pytest.mark.parametrize("months", [12 * 8000, -12 * 3000])
def test_months_beyond_the_calendar_are_refused(months: int) -> None:
    """A date outside the years 1 to 9999 is refused with the field's name."""
    with pytest.raises(BadValueError, match="within the years 1 to 9999") as caught:
        add_months(TODAY, months)
    assert caught.value.field == "months"


def test_window_is_inclusive_at_both_ends() -> None:
    """The first and the last day of a window are on time; the days beside them are not."""
    span = window(date(2026, 3, 1), 14, 28)
    assert (span.opens, span.due, span.closes) == (date(2026, 2, 15), date(2026, 3, 1), date(2026, 3, 29))
    assert span.holds(span.opens)
    assert span.holds(span.closes)
    assert not span.holds(span.opens - timedelta(days=1))
    assert not span.holds(span.closes + timedelta(days=1))


@pytest.mark.parametrize(("before", "after", "field"), [(-1, 0, "before_days"), (0, -1, "after_days")])
def test_negative_window_is_refused(before: int, after: int, field: str) -> None:
    """A negative width names its field."""
    with pytest.raises(BadValueError, match="give 0 or more") as caught:
        window(TODAY, before, after)
    assert caught.value.field == field


@given(DAYS, MONTHS, DAYS)
def test_floating_counts_from_last_done_only(anchor: date, every: int, done: date) -> None:
    """A floating due is the interval after the last service, wherever the anchor lies; the anchor serves until then."""
    assert next_due(DueMode.FLOATING, anchor, every, done) == add_months(done, every)
    assert next_due(DueMode.FLOATING, anchor, every, None) == add_months(anchor, every)


@given(DAYS, MONTHS, st.integers(-400, 9000), st.integers(0, 60))
def test_fixed_due_is_the_first_grid_date_whose_window_opens_after_the_work(
    anchor: date, every: int, days_after_anchor: int, before: int
) -> None:
    """A fixed due is on the anchored grid; its window opens after the work, and all earlier ones had opened by then."""
    done = anchor + timedelta(days=days_after_anchor)
    due = next_due(DueMode.FIXED, anchor, every, done, before)
    grid = [add_months(anchor, every * step) for step in range(1, 9000 // (28 * every) + 6)]
    assert due in grid
    assert due - timedelta(days=before) > done
    earlier = [day for day in grid if day < due]
    assert all(day - timedelta(days=before) <= done for day in earlier)


@pytest.mark.parametrize(
    ("done", "due"),
    [
        (None, date(2027, 3, 1)),
        (date(2025, 1, 1), date(2027, 3, 1)),  # before the anchor: the grid begins after it
        (date(2027, 1, 29), date(2027, 3, 1)),  # one day before the window opens: still due
        (date(2027, 1, 30), date(2028, 3, 1)),  # first day of the window
        (date(2027, 3, 1), date(2028, 3, 1)),
        (date(2027, 11, 1), date(2028, 3, 1)),  # eight months late: the grid stays
        (date(2028, 1, 30), date(2028, 3, 1)),  # so late that the next window is about to open
        (date(2028, 1, 31), date(2029, 3, 1)),  # it has opened: one service answers both
    ],
)
def test_fixed_grid_is_not_shifted_by_early_or_late_work(done: date | None, due: date) -> None:
    """Early and late work map to the dates that the docstring says, with a window of 30 days before."""
    assert next_due(DueMode.FIXED, MARCH, 12, done, before_days=30) == due


@given(DAYS, MONTHS, st.lists(st.integers(0, 20), min_size=1, max_size=8))
def test_fixed_dates_done_on_time_never_drift(anchor: date, every: int, delays: list[int]) -> None:
    """Each service done on or shortly after its due date is followed by the next anchored date: no chaining."""
    done: date | None = None
    for step, delay in enumerate(delays, start=1):
        due = next_due(DueMode.FIXED, anchor, every, done)
        assert due == add_months(anchor, every * step)
        done = due + timedelta(days=delay)


def test_interval_under_one_month_is_refused() -> None:
    """An interval of zero months would make the grid stand still, and is refused."""
    with pytest.raises(BadValueError, match="give 1 or more"):
        next_due(DueMode.FIXED, TODAY, 0, None)


@pytest.mark.parametrize(
    ("hours_now", "per_day", "due"),
    [
        (1200.0, 8.0, date(2027, 3, 5)),  # 800 h left at 8 h a day: 100 days
        (1201.0, 8.0, date(2027, 3, 4)),  # 99.9 days: the early side
        (2000.0, 8.0, TODAY),
        (2400.0, 0.0, TODAY),  # reached, though not used any more
        (1200.0, 0.0, None),
        (1200.0, 1e-9, None),  # beyond the calendar
    ],
)
def test_running_hours_project_to_a_day(hours_now: float, per_day: float, due: date | None) -> None:
    """1000 h after a service at 1000 h: the day is hours left over hours a day, today when reached, None when never."""
    assert next_due_by_count(1000.0, 1000.0, hours_now, per_day, TODAY) == due


def test_counter_that_went_backwards_is_refused() -> None:
    """A counter below its reading at the last service is refused with what to do."""
    with pytest.raises(BadValueError, match="counter was restarted") as caught:
        next_due_by_count(1000.0, 500.0, 10.0, 8.0, TODAY)
    assert caught.value.field == "now"


def test_hours_interval_must_be_positive() -> None:
    """An interval of no hours is refused."""
    with pytest.raises(BadValueError, match="more than 0"):
        next_due_by_count(0.0, 0.0, 10.0, 8.0, TODAY)


def test_earliest_ignores_what_is_unknown() -> None:
    """The earliest known day wins; nothing known gives None."""
    assert earliest(None, date(2027, 1, 1), date(2026, 12, 1)) == date(2026, 12, 1)
    assert earliest(None, None) is None


@given(DAYS, st.integers(-200, 200))
def test_late_begins_the_day_after_the_window(closes: date, offset: int) -> None:
    """Late means after the window's last day, and exactly then the days late are counted."""
    today = closes + timedelta(days=offset)
    assert is_late(closes, today) == (offset > 0)
    assert days_late(closes, today) == max(0, offset)
