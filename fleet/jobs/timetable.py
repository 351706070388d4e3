"""What runs each night, or one night a week, and from which hour. Pure: it is told the time."""

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

SATURDAY: Final = 5
MONDAY: Final = 0
_DAYS_OF_A_WEEK: Final = 7


@dataclass(frozen=True, slots=True)
class Nightly:
    """A kind of job that is due once a day, from `hour` (local time) on, when the kinds in `after` have ended.

    With a `weekday` (Monday is 0) it is due on that day of the week alone.
    """

    kind: str
    hour: int
    after: frozenset[str] = frozenset()
    weekday: int | None = None

    def falls_on(self, day: date) -> bool:
        """Whether the kind is due on the day at all."""
        return self.weekday in (None, day.weekday())

    def key(self, day: date) -> str:
        """The key of that day's job: one row, however many timetables raise it."""
        return f"{self.kind}:{day.isoformat()}"


_FOR_THE_MORNING: Final = frozenset({"roll_dues", "age_alerts", "library_coverage", "refresh_forecasts"})
#: In the order in which `manage.py nightly` runs them. The forecast looks at the next visit, so dues roll first;
#: the digest tells of all the others but the backtest and the verification, which nobody waits for. What the night
#: wrote is sealed at its end; by day the trail is sealed once an hour, see `HOURLY`.
NIGHTLY: Final = (
    Nightly("roll_dues", 1),
    Nightly("age_alerts", 1),
    Nightly("library_coverage", 2),
    Nightly("refresh_forecasts", 2, after=frozenset({"roll_dues"})),
    Nightly("backtest", 3, after=frozenset({"refresh_forecasts"}), weekday=SATURDAY),
    Nightly("seal_trail", 5, after=_FOR_THE_MORNING),
    Nightly("verify_record", 5, after=frozenset({"seal_trail"}), weekday=MONDAY),
    Nightly("morning_digest", 6, after=_FOR_THE_MORNING),
)
#: Raised once in each hour that has begun.
HOURLY: Final = ("seal_trail",)
BY_KIND: Final = {entry.kind: entry for entry in NIGHTLY}


def due(local: datetime, ended: AbstractSet[str]) -> list[Nightly]:
    """The entries whose hour has come at `local` and whose forerunners are among the kinds that have `ended` today.

    A server that was off at night catches up as soon as it is on: an entry stays due until midnight, a weekly one too.
    """
    tonight = [entry for entry in NIGHTLY if entry.falls_on(local.date())]
    return [entry for entry in tonight if local.hour >= entry.hour and entry.after <= ended]


def next_run(kind: str, local: datetime, *, raised_today: bool) -> datetime | None:
    """When the kind comes due next, in the zone of `local`; None for a kind that stands on no timetable."""
    entry = BY_KIND.get(kind)
    if entry is None:
        return None
    at = local.replace(hour=entry.hour, minute=0, second=0, microsecond=0)
    if entry.falls_on(local.date()) and not raised_today:
        return max(at, local)
    ahead = (at + timedelta(days=days) for days in range(1, _DAYS_OF_A_WEEK + 1))
    return next(moment for moment in ahead if entry.falls_on(moment.date()))
