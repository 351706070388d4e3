"""On which day a due is planned that falls where nobody works, and how many working days a week has.

A working day is one from Monday to Friday that is not closed. Nothing here reads a calendar: the caller says by a
function why a day is closed (empty: it is not). The rules are this project's own:

* A due on a closed day is planned for the last working day before it that lies in its window; where there is none, for
  the first one after it that does. It is never planned later than its window's end; with no working day in the window
  it keeps its day. A due on a mere Saturday or Sunday keeps its day too: it is a date, not an appointment.
* A due while its ward is closed for the season, when its drivers lie idle, is planned for the last working day before
  the ward opens, if that lies in the window; else for the first one after it closed; else it keeps its day.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fleet.core.due import Window
from fleet.core.errors import BadValueError

Closed = Callable[[date], str]
_DAY: Final = timedelta(days=1)
_WORKING: Final = 5
_MONTHS: Final = 12


@dataclass(frozen=True, slots=True)
class Planned:
    """The day a due is planned for, why it is not its own, and whether a day could be found."""

    day: date
    why: str
    found: bool = True


@dataclass(frozen=True, slots=True)
class Season:
    """A ward open from the first day of one month to the last day of another (1 to 12), over the new year too."""

    opens: int
    closes: int

    def __post_init__(self) -> None:
        """Refuse months that are none, and a season that is the whole year."""
        if not (1 <= self.opens <= _MONTHS and 1 <= self.closes <= _MONTHS):
            raise BadValueError("Give months from 1 to 12.", field="opens_month")
        if (self.closes % _MONTHS) + 1 == self.opens:
            raise BadValueError("That is the whole year; leave both empty.", field="opens_month")

    def is_open(self, day: date) -> bool:
        """Whether the ward is open in the month of `day`."""
        if self.opens <= self.closes:
            return self.opens <= day.month <= self.closes
        return day.month >= self.opens or day.month <= self.closes

    def opening(self, day: date) -> date:
        """The first day of the next season after a day on which the ward is closed."""
        return date(day.year + (day.month >= self.opens), self.opens, 1)

    def closing(self, day: date) -> date:
        """The first closed day of the closed time that holds `day`."""
        first = self.closes % _MONTHS + 1
        return date(day.year - (day.month < first), first, 1)


def is_working(day: date, closed: Closed) -> bool:
    """Whether somebody works on a day."""
    return day.weekday() < _WORKING and not closed(day)


def last_working(until: date, since: date, closed: Closed) -> date | None:
    """The last working day from `since` to `until`, both included; None when there is none."""
    days = (until - _DAY * back for back in range((until - since).days + 1))
    return next((day for day in days if is_working(day, closed)), None)


def first_working(since: date, until: date, closed: Closed) -> date | None:
    """The first working day from `since` to `until`, both included; None when there is none."""
    days = (since + _DAY * on for on in range((until - since).days + 1))
    return next((day for day in days if is_working(day, closed)), None)


def planned_day(span: Window, closed: Closed, season: Season | None = None) -> Planned | None:
    """Return the day a due is planned for by the rules above; None where it keeps its own for no reason at all."""
    if season is not None and not season.is_open(span.due):
        return _in_closed_season(span, closed, season)
    why = closed(span.due)
    if not why:
        return None
    day = last_working(span.due, span.opens, closed) or first_working(span.due, span.closes, closed)
    return Planned(day, why) if day else Planned(span.due, f"{why}; no working day in its window", found=False)


def _in_closed_season(span: Window, closed: Closed, season: Season) -> Planned:
    opening, closing = season.opening(span.due), season.closing(span.due)
    if opening - _DAY <= span.closes and (day := last_working(opening - _DAY, span.due, closed)):
        return Planned(day, "before its ward opens for the season")
    if closing >= span.opens and (day := first_working(closing, span.due, closed)):
        return Planned(day, "after its ward closed for the season")
    return Planned(span.due, "its ward is closed for the season", found=False)


def working_days(monday: date, closed: Closed) -> int:
    """How many working days the week from `monday` has, 0 to 5."""
    return sum(is_working(monday + _DAY * day, closed) for day in range(_WORKING))
