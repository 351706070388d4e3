"""The minutes of each week: a team's hours, less public holidays and closed days, less those who are away."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

_WORKING_DAYS: Final = 5
_MINUTES_AN_HOUR: Final = 60


@dataclass(frozen=True, slots=True)
class Absence:
    """Somebody away from `first` to `last`, both in, who else gives `hours` a week to planned work."""

    who: str
    first: date
    last: date
    hours: float

    def days_in(self, monday: date) -> int:
        """On how many days from Monday to Friday of a week they are away."""
        return sum(self.first <= monday + timedelta(days=at) <= self.last for at in range(_WORKING_DAYS))


def weekly_minutes(
    monday: date, working_days: Sequence[float], hours: float, absences: Iterable[Absence]
) -> tuple[int, ...]:
    """The minutes of each week from `monday` on, shape (weeks,): `hours` of a full week by its working days.

    A day of an absence takes a fifth of that person's hours, on no more days than the week works; never below 0.
    """
    away = list(absences)
    weeks = []
    for at, days in enumerate(working_days):
        start = monday + timedelta(weeks=at)
        lost = sum(each.hours * min(each.days_in(start), days) for each in away)
        weeks.append(max(0, round((hours * days - lost) * _MINUTES_AN_HOUR / _WORKING_DAYS)))
    return tuple(weeks)
