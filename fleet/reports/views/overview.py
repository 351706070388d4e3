"""The manager's first page, and the drivers behind those of its numbers that no other page lists."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.registry.models import Device
from fleet.reports import queries
from fleet.reports.queries import Standing
from fleet.reports.tables import DriverTable
from fleet.reports.tiles import groups
from fleet.web import clock
from fleet.web.guards import guard
from fleet.web.paging import paged


@guard(May.SEE_REPORTS)
@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    """The state of the fleet in numbers; each leads to the rows behind it."""
    person = person_of(request)
    numbers = queries.overview(person, clock.today())
    shown = {"numbers": numbers, "groups": groups(numbers), "any_driver": Device.objects.within(person).exists()}
    return render(request, "reports/overview.html", shown)


@guard(May.SEE_REPORTS)
@require_safe
def drivers(request: HttpRequest, standing: str) -> HttpResponse:
    """The drivers behind one number, those in that state longest first."""
    if standing not in set(Standing):
        raise Http404
    state = Standing(standing)
    rows = queries.standing_so(person_of(request), state)
    table = DriverTable(rows, empty_text="No driver stands so.")
    paged(request, table)
    shown = {
        "title": state.label,
        "count": rows.count(),
        "table": table,
        "above": [("Overview", reverse("reports:overview"))],
    }
    return render(request, "reports/drivers.html", shown)
