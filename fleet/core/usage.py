"""Whether a driver is in use, from what the record has: what somebody said, its counters, its loans.

What somebody said of today outweighs all. A counter tells how a driver went lately and not what it does now, so that it
makes a driver "likely" in use or idle and no more. The limits below are our own choice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from fleet.core.words import Worded

#: How long what somebody said, or found on a visit, tells of now.
SAID_FOR: Final = timedelta(days=1)
#: How old the newest reading of a counter may be, and over how many days at most it may be read, to tell of lately.
READ_FOR: Final = timedelta(days=14)
LONGEST_SPAN: Final = timedelta(days=60)
#: A rate is read over this time, where an older reading lies so far back; never over less than LEAST_SPAN.
SPAN: Final = timedelta(days=14)
LEAST_SPAN: Final = timedelta(days=3)
#: Running hours a day from which a driver counts as used.
USED_A_DAY: Final = 1.0


class Use(Worded):
    """What is known of a driver's use, the one that can be fetched first."""

    IDLE = "idle", "Idle"
    LIKELY_IDLE = "likely_idle", "Likely idle"
    UNKNOWN = "unknown", "Not known"
    LIKELY_USED = "likely_used", "Likely in use"
    IN_USE = "in_use", "In use"


#: The order "idle first".
IDLE_FIRST: Final = {use: rank for rank, use in enumerate(Use)}


@dataclass(frozen=True, slots=True)
class Ran:
    """How a counter went from one day to another: hours a day; 0 where it stood still."""

    since: date
    until: date
    a_day: float

    @property
    def days(self) -> int:
        """Over how many days."""
        return (self.until - self.since).days


@dataclass(frozen=True, slots=True)
class Said:
    """Somebody said, or found on a visit, that a driver is in use or idle."""

    in_use: bool
    at: datetime


def ran(readings: Sequence[tuple[date, float]]) -> Ran | None:
    """How a counter went lately, by its readings (days in order, totals in hours); None if they are too few.

    One that shows the same as LEAST_SPAN before or longer stood still since the first such reading. Else its rate from
    the latest reading that is SPAN older than the newest, or from the oldest if that is LEAST_SPAN older.
    """
    if not readings:
        return None
    until, total = readings[-1]
    since = until
    for day, each in reversed(readings):
        if each != total:
            break
        since = day
    if until - since >= LEAST_SPAN:
        return Ran(since, until, 0.0)
    far = [reading for reading in readings if until - reading[0] >= SPAN]
    first, before = far[-1] if far else readings[0]
    return Ran(first, until, (total - before) / (until - first).days) if until - first >= LEAST_SPAN else None


def use_of(now: datetime, *, said: Said | None = None, ran: Ran | None = None, lent: bool = False) -> Use:
    """What is known of a driver's use at `now`: by a word of the last day, else an open loan, else its counter."""
    if said is not None and now - said.at <= SAID_FOR:
        return Use.IN_USE if said.in_use else Use.IDLE
    if lent:
        return Use.LIKELY_USED
    if ran is None or now.date() - ran.until > READ_FOR:
        return Use.UNKNOWN
    if ran.a_day and ran.until - ran.since > LONGEST_SPAN:
        return Use.UNKNOWN
    if ran.a_day >= USED_A_DAY:
        return Use.LIKELY_USED
    return Use.LIKELY_IDLE if ran.a_day == 0 else Use.UNKNOWN
