"""How somebody's training stands on a day, from what is on record. It tells of records and never of ability."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.core.words import Worded


class Standing(Worded):
    """How the training on record stands on a day."""

    IN_DATE = "in_date", "In date"
    SOON = "soon", "Ends soon"
    ENDED = "ended", "Ended"
    NONE = "none", "None on record"


@dataclass(frozen=True, slots=True)
class Held:
    """How training stands, and the last day of it: None where it has no end, or where there is none."""

    standing: Standing
    until: date | None = None

    @property
    def covers(self) -> bool:
        """Whether training in date is on record."""
        return self.standing in {Standing.IN_DATE, Standing.SOON}


def held_on(spans: Iterable[tuple[date, date | None]], day: date, soon_days: int) -> Held:
    """How training stands on `day`, by the span (first day, last day or None) begun by then that lasts longest.

    It ends soon when fewer than `soon_days` days are left. Its last day counts as in date.
    """
    begun = [(begins, ends) for begins, ends in spans if begins <= day]
    if not begun:
        return Held(Standing.NONE)
    ends = [end for _, end in begun]
    if None in ends:
        return Held(Standing.IN_DATE)
    until = max(end for end in ends if end is not None)
    if until < day:
        return Held(Standing.ENDED, until)
    return Held(Standing.SOON if until - day < timedelta(days=soon_days) else Standing.IN_DATE, until)
