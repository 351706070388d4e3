"""When a thing is due: anchored months, windows, counters and their rate of use, lateness.

Dates are calendar dates without a zone; the caller says what "today" is. Months are always counted from an anchor and
never chained, so that 31 January goes on to 28 February and then to 31 March.
"""

import calendar
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType
from typing import Final

from fleet.core.errors import BadValueError
from fleet.core.words import Worded

_MONTHS: Final = 12
#: A rate of use is read from two readings at least so far apart, where there are older ones from the newest pair that
#: is RECENT_DAYS apart. Our own choice, no source.
LEAST_DAYS: Final = 7
RECENT_DAYS: Final = 28


class DueMode(Worded):
    """How a plan counts on."""

    FLOATING = "floating", "From the date last done"
    FIXED = "fixed", "On fixed dates"


class Ageing(Worded):
    """How long ago a window closed, in days, in four groups (common practice, no source)."""

    TO_30 = "1-30", "1 to 30 days"
    TO_60 = "31-60", "31 to 60 days"
    TO_90 = "61-90", "61 to 90 days"
    OVER_90 = ">90", "More than 90 days"


#: Days late, least and most, of each group of lateness: they meet without gap or overlap.
DAYS_LATE: Final = MappingProxyType(
    {Ageing.TO_30: (1, 30), Ageing.TO_60: (31, 60), Ageing.TO_90: (61, 90), Ageing.OVER_90: (91, None)}
)


@dataclass(frozen=True, slots=True)
class Window:
    """The first day, the due day and the last day on which the work counts as on time; all three inclusive."""

    opens: date
    due: date
    closes: date

    def holds(self, day: date) -> bool:
        """Whether work done on `day` is on time."""
        return self.opens <= day <= self.closes


def add_months(anchor: date, months: int) -> date:
    """Return `anchor` moved by whole months, clamped to the last day of a shorter month.

    31 Jan + 1 is 28 Feb (29 in a leap year), 31 Jan + 2 is 31 Mar. `months` may be negative. Raises BadValueError
    beyond the years 1 to 9999.
    """
    years, month = divmod(anchor.month - 1 + months, _MONTHS)
    year = anchor.year + years
    if not date.min.year <= year <= date.max.year:
        message = f"{anchor} and {months} months is the year {year}; give a span that stays within the years 1 to 9999."
        raise BadValueError(message, field="months")
    last_day = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(anchor.day, last_day))


def months_between(first: date, last: date) -> list[date]:
    """The first day of each month that the period touches."""
    start = first.replace(day=1)
    count = (last.year - start.year) * 12 + last.month - start.month + 1
    return [add_months(start, ahead) for ahead in range(count)]


def window(due: date, before_days: int, after_days: int) -> Window:
    """Return the window round `due`, `before_days` and `after_days` wide (each 0 or more).

    Raises BadValueError for a negative width.
    """
    for field, days in (("before_days", before_days), ("after_days", after_days)):
        if days < 0:
            message = f"A window cannot be {days} days wide; give 0 or more."
            raise BadValueError(message, field=field)
    return Window(due - timedelta(days=before_days), due, due + timedelta(days=after_days))


def monday_of(day: date) -> date:
    """The Monday of the week that a day lies in."""
    return day - timedelta(days=day.weekday())


def cut_week(day: date, span: Window) -> tuple[date | None, date | None]:
    """The day from which, and the day by which, a window cuts the working week of `day`; None where it does not.

    A window that ended before the week cuts nothing: what is late may be done on any of its days.
    """
    monday = monday_of(day)
    friday = monday + timedelta(days=4)
    return (
        span.opens if monday < span.opens <= friday else None,
        span.closes if monday <= span.closes < friday else None,
    )


def next_due(mode: DueMode, anchor: date, every_months: int, last_done: date | None, before_days: int = 0) -> date:
    """Return the date on which the work is next due.

    `anchor` is day zero (accepted, or the plan's start): the first due is `every_months` after it.

    Floating: `every_months` after `last_done`; the anchor is used until the work has been done once.

    Fixed: the dates anchor + k * every_months, k = 1, 2, ... stay where they are, however early or late the work is
    done. Work answers the latest of these dates whose window had opened by then (`before_days` before the date), and
    every one before it. So work done before the window opens leaves that date due; work done very late answers the date
    it was late for, and the following date too only if that one's window is open already. Two services are thus never
    further apart than one interval and the two widths of the window, unless the second is late.

    Raises BadValueError for an interval under one month.
    """
    if every_months < 1:
        message = f"An interval of {every_months} months is not usable; give 1 or more."
        raise BadValueError(message, field="every_months")
    if mode is DueMode.FLOATING:
        return add_months(last_done or anchor, every_months)
    if last_done is None:
        return add_months(anchor, every_months)
    return _first_fixed(anchor, every_months, last_done + timedelta(days=before_days))


def next_due_by_count(last_done: float, every: float, now: float, a_day: float, today: date) -> date | None:
    """Return the day on which a counter of running hours or cycles is expected to reach `last_done + every`.

    All are readings of one counter that never runs backwards; `a_day` is its mean use. `today` when the counter is
    there already. None when the driver is not used, or the day lies beyond the calendar. A part of a day counts as
    none, so the answer errs to the early side. Raises BadValueError when the counter has gone backwards (a new board, a
    reset) or the interval is not above zero.
    """
    if every <= 0:
        message = f"An interval of {every} on the counter is not usable; give more than 0."
        raise BadValueError(message, field="every")
    if now < last_done:
        message = (
            f"The counter reads {now}, less than the {last_done} when the work was last done; "
            "record that the counter was restarted."
        )
        raise BadValueError(message, field="now")
    left = last_done + every - now
    if left <= 0:
        return today
    if a_day <= 0 or left / a_day > (date.max - today).days:
        return None
    return today + timedelta(days=math.floor(left / a_day))


def recent_rate(readings: Sequence[tuple[date, float]]) -> float | None:
    """Return how much a counter gains in a day by its newest readings (days in order, totals); None if too few.

    From the newest reading back to the latest one that is RECENT_DAYS older, else to the oldest if that is LEAST_DAYS
    older.
    """
    if not readings:
        return None
    newest, total = readings[-1]
    apart = [(newest - day).days for day, _ in readings]
    recent = [at for at, days in enumerate(apart) if days >= RECENT_DAYS]
    start = recent[-1] if recent else 0
    return (total - readings[start][1]) / apart[start] if apart[start] >= LEAST_DAYS else None


def earliest(*days: date | None) -> date | None:
    """Return the earliest of the days that are known; None when none is."""
    return min((day for day in days if day is not None), default=None)


def is_late(closes: date, today: date) -> bool:
    """Whether a window that closes on `closes` has been missed. Its last day is still on time."""
    return today > closes


def days_late(closes: date, today: date) -> int:
    """Return the whole days since the window's last day; 0 while it is not late."""
    return max(0, (today - closes).days)


def _first_fixed(anchor: date, every_months: int, reached: date) -> date:
    """Return the first date of the grid that lies after `reached`."""
    months_passed = (reached.year - anchor.year) * _MONTHS + reached.month - anchor.month
    step = max(1, months_passed // every_months)
    while (day := add_months(anchor, step * every_months)) <= reached:
        step += 1
    return day
