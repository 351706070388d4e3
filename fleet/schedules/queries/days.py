"""The days on which nobody works, place by place: closed days, the public holidays of a site, seasonal wards."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import holidays

from fleet.core.due import Window
from fleet.core.workdays import Closed, Planned, planned_day, working_days
from fleet.registry.models import Place
from fleet.schedules.models import ClosedDays, Due, PlaceCalendar
from fleet.web import clock


@cache
def public_holidays(country: str, subdivision: str, year: int) -> Mapping[date, str]:
    """The public holidays of a country and subdivision by date, in English; none for one the library doesn't know."""
    if not country:
        return {}
    try:
        found = holidays.country_holidays(country, subdiv=subdivision or None, years=year, language="en_US")
    except NotImplementedError:
        return {}
    return dict(found.items())


@dataclass(frozen=True, slots=True)
class WorkCalendar:
    """All that says when nobody works, read once for any number of dues."""

    rows: Collection[ClosedDays]
    places: Mapping[int, PlaceCalendar]

    def closed(self, path: str) -> Closed:
        """Why a day is closed for the drivers at home in the place of this path; empty where it isn't."""
        rows = [row for row in self.rows if row.place is None or path.startswith(row.place.path)]
        calendars = [self.places[pk] for pk in _ids(path) if pk in self.places and self.places[pk].country]

        def why(day: date) -> str:
            for row in rows:
                if row.first <= day <= row.last:
                    return row.reason
            for kept in calendars:
                if name := public_holidays(kept.country, kept.subdivision, day.year).get(day):
                    return name
            return ""

        return why

    def planned(self, due: Due) -> Planned | None:
        """The day a due is planned for where it falls on a closed day; None for one that keeps its day or is late."""
        if due.planned_for is not None or due.closes_on < clock.today():
            return None
        path = due.device.home.path
        seasons = (self.places[pk].season for pk in reversed(_ids(path)) if pk in self.places)
        span = Window(due.opens_on, due.due_on, due.closes_on)
        return planned_day(span, self.closed(path), next(filter(None, seasons), None))

    def on(self, rows: Iterable[Due], day: date) -> list[tuple[Due, Planned | None]]:
        """Of dues whose window is open those whose own day is `day`, or that are planned for it instead, with why."""
        planned = ((due, self.planned(due)) for due in rows if due.planned_for is None)
        return [(due, plan) for due, plan in planned if (plan.day if plan else due.due_on) == day]

    def working_days(self, monday: date, weeks: int, paths: Iterable[str]) -> list[int]:
        """How many days are worked in each week, 0 to 5; a day is closed if it is for each of the places."""
        each = [self.closed(path) for path in paths]

        def closed(day: date) -> str:
            whys = [why(day) for why in each]
            return whys[0] if whys and all(whys) else ""

        return [working_days(monday + timedelta(weeks=week), closed) for week in range(weeks)]


def _ids(path: str) -> list[int]:
    return [int(part) for part in path.split("/") if part]


def work_calendar() -> WorkCalendar:
    """The calendar as it stands: two queries."""
    rows = ClosedDays.objects.filter(dropped_at=None).select_related("place")
    return WorkCalendar(list(rows), {row.place_id: row for row in PlaceCalendar.objects.all()})


def calendar_of(place: Place) -> PlaceCalendar:
    """The calendar of a place; an empty one where nobody has stated any."""
    return PlaceCalendar.objects.filter(place=place).first() or PlaceCalendar(place=place)


def coming_holidays(row: PlaceCalendar, today: date) -> list[tuple[date, str]]:
    """The public holidays of a place's calendar in the twelve months from today, in order."""
    end = today + timedelta(days=365)
    found = [public_holidays(row.country, row.subdivision, year) for year in range(today.year, end.year + 1)]
    days = sorted((day, name) for each in found for day, name in each.items())
    return [(day, name) for day, name in days if today <= day <= end]
