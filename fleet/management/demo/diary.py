"""The diary of the invented years: acts at moments, done in the order of time with the clock held at each."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from heapq import heappop, heappush

from django.utils import timezone

from fleet.management.demo.dice import Dice
from fleet.web import clock

Act = Callable[[], object]
Progress = Callable[[float], object]
_SATURDAY = 5


@dataclass(slots=True)
class Diary:
    """Acts planned between two moments. What would fall after `end` has not happened yet, and is left out."""

    start: datetime
    end: datetime
    _acts: list[tuple[datetime, int, Act]] = field(default_factory=list)
    _planned: int = 0

    def plan(self, moment: datetime, act: Act) -> None:
        """Enter an act, for now at the earliest. Two at one moment are done in the order of planning."""
        if moment <= self.end:
            self._planned += 1
            heappush(self._acts, (max(moment, clock.now()), self._planned, act))

    def run(self, progress: Progress) -> None:
        """Do everything, also what acts plan in their turn; `progress` hears the share of the time that has passed."""
        whole = (self.end - self.start).total_seconds()
        while self._acts:
            moment, _, act = heappop(self._acts)
            with clock.at(moment):
                act()
            progress((moment - self.start).total_seconds() / whole)


def local(day: date, hour: int = 9, minute: int = 0) -> datetime:
    """A moment of a day at the hospital."""
    return timezone.make_aware(datetime.combine(day, time(hour, minute)))


def working_day(day: date) -> date:
    """The day itself, or the Monday after a weekend: benches rest on Saturday and Sunday."""
    return day + timedelta(days=(7 - day.weekday()) if day.weekday() >= _SATURDAY else 0)


def bench_hour(day: date, rng: Dice) -> datetime:
    """A moment of the first working day from `day` on, between half past seven and four."""
    minutes = rng.randrange(450, 960)
    return local(working_day(day), minutes // 60, minutes % 60)


def any_hour(day: date, rng: Dice) -> datetime:
    """A moment of a day; wards report at night too, and mostly by day."""
    hour = min(23, max(0, round(rng.gauss(13, 5))))
    return local(day, hour, rng.randrange(60))


def soon(moment: datetime, rng: Dice, hours: tuple[float, float]) -> datetime:
    """A working moment so many hours after another."""
    later = moment + timedelta(hours=rng.uniform(*hours))
    day = clock.local_day(later)
    shifted = bench_hour(day, rng)
    return shifted if shifted > moment else bench_hour(day + timedelta(days=1), rng)
