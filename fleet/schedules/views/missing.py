"""Drivers that nobody finds, and those that are looked for."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.registry.models import DeviceQuerySet
from fleet.schedules import queries
from fleet.schedules.filters import DriverFilter
from fleet.web import clock
from fleet.web.guards import guard

_SHOWN = 200


@guard(May.SEE_FLEET)
@require_safe
def missing(request: HttpRequest) -> HttpResponse:
    """Who looked when and where for each, what is due on it, and since when it counts as not located."""
    person = person_of(request)
    lost = DriverFilter(request.GET, queryset=queries.missing(person), request=request)
    hunted: DeviceQuerySet = DriverFilter(request.GET, queryset=queries.looked_for(person), request=request).qs
    context = {
        "filter": lost,
        "lost": lost.qs[:_SHOWN],
        "count": lost.qs.count(),
        "hunted": hunted[:_SHOWN],
        "rule": queries.house_rule(),
        "today": clock.today(),
        "above": [("Late", reverse("schedules:overdue"))],
    }
    return render(request, "schedules/missing.html", context)
