"""The only writers of closed days and of the calendars of places."""

from datetime import date

import holidays
from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.core.workdays import Season
from fleet.registry.models import Place
from fleet.schedules.models import ClosedDays, PlaceCalendar
from fleet.web import clock


@transaction.atomic
def close_days(place: Place | None, first: date, last: date, reason: str, *, by: Actor) -> ClosedDays:
    """State days on which no planned work is done at the drivers of a place (of all places: None), and why."""
    by.must(May.EDIT_REGISTRY)
    if last < first:
        raise BadValueError("Give the first day, or a later one.", field="last")
    if last < clock.today():
        raise BadValueError("These days have passed.", field="last")
    if not reason.strip():
        raise BadValueError("Say why nobody works on these days.", field="reason")
    row = ClosedDays.objects.create(
        place=place, first=first, last=last, reason=reason.strip()[:120], stated_by=by.name[:120]
    )
    told = {"place": str(place or "all places"), "first": first, "last": last}
    record(Happening("closed days", row, after=told, why=row.reason), by=by)
    return row


@transaction.atomic
def open_days(row: ClosedDays, *, by: Actor) -> ClosedDays:
    """Take closed days back, or (taken back already) state them again: each undoes the other."""
    by.must(May.EDIT_REGISTRY)
    held = ClosedDays.objects.select_for_update().get(pk=row.pk)
    again = held.dropped_at is not None
    change(held, dropped_at=None if again else clock.now())
    record(Happening("closed days again" if again else "opened closed days", held, why=held.reason), by=by)
    return held


@transaction.atomic
def set_calendar(
    place: Place, *, by: Actor, country: str = "", subdivision: str = "", season: tuple[int | None, int | None]
) -> PlaceCalendar:
    """State whose public holidays a place keeps, and in which months it is open (both empty: the whole year).

    Raises BadValueError for a country or subdivision that the library of holidays doesn't know, or half a season.
    """
    by.must(May.EDIT_REGISTRY)
    _check_country(country, subdivision)
    opens, closes = season
    if (opens is None) != (closes is None):
        raise BadValueError("Give both months, or neither.", field="closes_month")
    if opens is not None and closes is not None:
        Season(opens, closes)
    row, _ = PlaceCalendar.objects.select_for_update().get_or_create(place=place)
    before, after = change(row, country=country, subdivision=subdivision, opens_month=opens, closes_month=closes)
    if after:
        record(Happening("changed the calendar of a place", row, before=before, after=after), by=by)
    return row


def _check_country(country: str, subdivision: str) -> None:
    known = holidays.list_supported_countries()
    if country and country not in known:
        raise BadValueError("No holidays of this country are known; give its two letters (IE, SE).", field="country")
    if subdivision and subdivision not in known.get(country, ()):
        named = ", ".join(known.get(country, ())) or "none"
        raise BadValueError(f"Not a subdivision with holidays of its own; known are {named}.", field="subdivision")
