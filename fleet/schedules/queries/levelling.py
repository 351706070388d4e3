"""Proposals that level the work of the coming weeks: the work they take in, and how they read."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from django.db.models import Count, Q, QuerySet

from fleet.core.due import add_months, window
from fleet.core.levelling import Absence, Bench, Job, weekly_minutes
from fleet.core.lifecycle import Condition
from fleet.core.words import Worded
from fleet.people.models import Person
from fleet.people.scope import place_paths
from fleet.registry.models import Device, Place
from fleet.schedules.models import Due, DueQuerySet, Levelling
from fleet.schedules.queries.days import work_calendar
from fleet.schedules.queries.dues import live

WEEK: Final = timedelta(days=7)
_MINUTES_AN_HOUR: Final = 60
#: A window that opens on a Saturday or Sunday begins with the week after: the bench works from Monday to Friday.
_WEEKEND: Final = timedelta(days=2)


class NoWeek(Worded):
    """Why a due has no week in a proposal."""

    CLOSED = "closed", "Nobody works in any week of its window"
    WARD = "ward", "Its ward can spare no more drivers in any week of its window"
    BEFORE = "before", "Its window ends before the first week of the plan: do it now"


@dataclass(frozen=True, slots=True)
class Item:
    """A due as it stood when the proposal was made, or (`again`) the time after, which has no row yet."""

    due: int
    again: bool
    due_on: date
    opens_on: date
    closes_on: date

    def as_stored(self, week: int | None, why: str) -> list[Any]:
        """The due as a row of the proposal's result."""
        return [self.due, self.due_on.isoformat(), self.opens_on.isoformat(), self.closes_on.isoformat(), week, why]


@dataclass(frozen=True, slots=True)
class Work:
    """What a proposal spreads: each job with its item, what is too soon for it, and the bench."""

    jobs: list[Job]
    items: list[Item]
    too_soon: list[Item]
    bench: Bench


@dataclass(frozen=True, slots=True)
class Row:
    """One due of a proposal: the window it had then, its week (None: without one) and why it has none."""

    due: int
    due_on: date
    opens_on: date
    closes_on: date
    week: int | None
    why: NoWeek | None


@dataclass(frozen=True, slots=True)
class Week:
    """One week of a proposal, in hours: with each due in its own week, as planned, and the hours there are in it."""

    number: int
    monday: date
    before: float
    after: float
    dues: int
    hours: float

    @property
    def over(self) -> bool:
        """Whether it holds more work than the hours there are in it."""
        return self.after > self.hours


@dataclass(frozen=True, slots=True)
class Proposal:
    """A reckoned proposal as a page reads it; `fullest`, `plain` (the plain rule) and `bound` in hours of a week."""

    monday: date
    weeks: list[Week]
    rows: list[Row]
    fullest_before: float
    fullest: float
    plain: float
    bound: float
    best: bool
    visits: int
    again: int

    @property
    def without(self) -> list[Row]:
        """The dues that have no week, soonest first."""
        return sorted((row for row in self.rows if row.week is None), key=lambda row: (row.closes_on, row.due))

    def of_week(self, number: int) -> list[Row]:
        """The dues of one week, soonest first."""
        return sorted((row for row in self.rows if row.week == number), key=lambda row: (row.due_on, row.due))


def levellings(person: Person) -> QuerySet[Levelling]:
    """The proposals a person may know of: those for their places, and those for all places if they see everything."""
    rows = Levelling.objects.select_related("place__site")
    paths = place_paths(person)
    if paths is None:
        return rows
    seen = Q(pk__in=[])
    for path in paths:
        seen |= Q(place__path__startswith=path)
    return rows.filter(seen)


def first_monday(today: date) -> date:
    """The first week that is still whole: this one on a Monday, else the next."""
    return today + timedelta(days=-today.weekday() % 7)


def dues_to_level(place: Place | None, minutes: Mapping[str, int]) -> DueQuerySet:
    """The dues of the drivers with their home at the place or below it, of the kinds that have minutes.

    Without those of drivers that are not located: nobody can work on them, and they would fill the first weeks.
    """
    kinds = [kind for kind, taken in minutes.items() if taken]
    rows = live().filter(plan__kind__in=kinds).exclude(device__condition=Condition.NOT_LOCATED.value)
    return rows.filter(device__home__path__startswith=place.path) if place else rows


def work(levelling: Levelling, minutes: Mapping[str, int], monday: date, today: date) -> Work:
    """The dues of the proposal's span as jobs, with the time after where a plan comes round again within it."""
    found = Work([], [], [], _bench(levelling, monday))
    span = _Span(monday, levelling.weeks)
    for due in dues_to_level(levelling.place, minutes).filter(due_on__lt=span.end).order_by("due_on", "id"):
        late = due.closes_on < today
        for item in _times(due, max(due.due_on, monday) if late else due.due_on, span.end):
            window_weeks = (0, 0, 0) if late and not item.again else span.weeks_of(item)
            if window_weeks is None:
                found.too_soon.append(item)
                continue
            taken = minutes[due.plan.kind]
            found.items.append(item)
            found.jobs.append(Job(due.device_id, due.device.home_id, *window_weeks, taken, late and not item.again))
    return found


def _times(due: Due, counted_from: date, end: date) -> Iterator[Item]:
    yield Item(due.pk, False, due.due_on, due.opens_on, due.closes_on)
    every = due.every_months
    times = 1
    while every and (day := add_months(counted_from, every * times)) < end:
        span = window(day, due.plan.window_before_days, due.plan.window_after_days)
        yield Item(due.pk, True, span.due, span.opens, span.closes)
        times += 1


@dataclass(frozen=True, slots=True)
class _Span:
    """The weeks of a proposal."""

    monday: date
    weeks: int

    @property
    def end(self) -> date:
        """The Monday after the last week."""
        return self.monday + self.weeks * WEEK

    def weeks_of(self, item: Item) -> tuple[int, int, int] | None:
        """The first, due and last week of a window, cut to the span; None for one that ends before it."""
        if item.closes_on < self.monday:
            return None
        last = min((item.closes_on - self.monday) // WEEK, self.weeks - 1)
        first = min(max((item.opens_on + _WEEKEND - self.monday) // WEEK, 0), last)
        return first, min(max((item.due_on - self.monday) // WEEK, first), last), last


def _bench(levelling: Levelling, monday: date) -> Bench:
    in_use = Device.objects.exclude(condition=Condition.RETIRED.value).order_by()
    drivers = dict(in_use.values_list("home").annotate(Count("pk")))
    sites = Place.objects.filter(kind=Place.Kind.SITE, closed_on=None)
    paths = [levelling.place.path] if levelling.place else list(sites.values_list("path", flat=True))
    days = work_calendar().working_days(monday, levelling.weeks, paths)
    minutes = weekly_minutes(monday, days, float(levelling.hours_a_week), absences(levelling))
    shares = {pk: share for pk, _, share in levelling.result.get("shares", [])}
    return Bench(minutes, drivers, float(levelling.most_away), shares)


def absences(levelling: Levelling) -> list[Absence]:
    """Who was said to be away when the proposal was asked for."""
    return [
        Absence(who, date.fromisoformat(first), date.fromisoformat(last), hours)
        for who, first, last, hours in levelling.result.get("away", [])
    ]


def own_shares(levelling: Levelling) -> list[tuple[str, float]]:
    """The wards that were given a share of their own, by name."""
    return [(name, share) for _, name, share in levelling.result.get("shares", [])]


def proposal(levelling: Levelling) -> Proposal | None:
    """The proposal as a page reads it; None while it is still being reckoned."""
    kept: dict[str, Any] = levelling.result
    if "before" not in kept:
        return None
    monday = date.fromisoformat(kept["monday"])
    rows = [_row(stored) for stored in kept["dues"]]
    return Proposal(
        monday=monday,
        weeks=_weeks(kept, monday, rows, float(levelling.hours_a_week)),
        rows=rows,
        fullest_before=max(kept["before"]) / _MINUTES_AN_HOUR,
        fullest=max(kept["after"]) / _MINUTES_AN_HOUR,
        plain=kept["plain"],
        bound=kept["bound"],
        best=kept["best"],
        visits=kept["visits"],
        again=kept["again"],
    )


def _weeks(kept: Mapping[str, Any], monday: date, rows: Sequence[Row], usual: float) -> list[Week]:
    """A proposal made before weeks had hours of their own has the usual ones in each."""
    numbers = [row.week for row in rows]
    there_are = kept.get("minutes a week") or [usual * _MINUTES_AN_HOUR] * len(kept["before"])
    hours = [
        [minutes / _MINUTES_AN_HOUR for minutes in week]
        for week in zip(kept["before"], kept["after"], there_are, strict=True)
    ]
    return [
        Week(at, monday + at * WEEK, before, after, numbers.count(at), there)
        for at, (before, after, there) in enumerate(hours)
    ]


def _row(stored: Sequence[Any]) -> Row:
    due, due_on, opens_on, closes_on, week, why = stored
    on, opens, closes = (date.fromisoformat(day) for day in (due_on, opens_on, closes_on))
    return Row(due, on, opens, closes, week, NoWeek(why) if why else None)
