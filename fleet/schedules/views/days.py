"""Days not worked: closed days, public holidays of each site, seasonal wards."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.schedules import actions, queries
from fleet.schedules.forms import CalendarForm, ClosedDaysForm
from fleet.schedules.models import ClosedDays
from fleet.schedules.views.tabs import above, tabs
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

_FIELDS = ("country", "subdivision", "opens_month", "closes_month")


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def days(request: HttpRequest) -> HttpResponse:
    """What is closed when and why, and the places with a calendar of their own."""
    person, today = person_of(request), clock.today()
    form = ClosedDaysForm(request.POST or None, person=person)
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid() and _closed(request, form):
            return redirect("schedules:days")
    places = open_places().within(person).select_related("site", "calendar")
    context = {
        "form": form,
        "rows": ClosedDays.objects.within(person).filter(last__gte=today).select_related("place__site"),
        "sites": [(place, _holidays(place)) for place in places.filter(kind=Place.Kind.SITE)],
        "seasonal": places.filter(calendar__opens_month__isnull=False),
        "everywhere": person.everywhere,
        "tabs": tabs("days"),
    }
    return render(request, "schedules/days.html", context)


def _closed(request: HttpRequest, form: ClosedDaysForm) -> bool:
    try:
        row = actions.close_days(**form.cleaned_data, by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(request, f"{row} is stated. Dues that fall there are planned round it.")
    return True


def _holidays(place: Place) -> list[tuple[object, str]]:
    return [*queries.coming_holidays(queries.calendar_of(place), clock.today())]


@guard(May.SEE_FLEET)
@require_POST
def open_days(request: HttpRequest, pk: int) -> HttpResponse:
    """Take closed days back, or state them again."""
    demand(request, May.EDIT_REGISTRY)
    row = fetch(ClosedDays.objects.all(), request, pk=pk)
    if row.place is None and not person_of(request).everywhere:
        messages.error(request, "These days are closed for all places; somebody who sees all of them can change that.")
        return redirect("schedules:days")
    held = actions.open_days(row, by=acting(request))
    messages.success(request, f"{held} is {'taken back' if held.dropped_at else 'stated again'}.")
    return redirect("schedules:days")


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def place_days(request: HttpRequest, pk: int) -> HttpResponse:
    """The calendar of one place: its public holidays, and the months it is open."""
    place = fetch(Place.objects.select_related("site"), request, pk=pk)
    row = queries.calendar_of(place)
    form = CalendarForm(request.POST or None, initial={name: getattr(row, name) for name in _FIELDS})
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid() and _set(request, place, form):
            return redirect("schedules:days")
    context = {"place": place, "form": form, "holidays": _holidays(place), "above": above("days")}
    return render(request, "schedules/place_days.html", context)


def _set(request: HttpRequest, place: Place, form: CalendarForm) -> bool:
    typed = form.cleaned_data
    season = typed["opens_month"], typed["closes_month"]
    try:
        actions.set_calendar(
            place, country=typed["country"], subdivision=typed["subdivision"], season=season, by=acting(request)
        )
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(request, f"The calendar of {place} is saved.")
    return True
