"""The trail, searched."""

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.registry.models import Device
from fleet.reports import queries
from fleet.reports.filters import TrailFilter
from fleet.reports.tables import TRAIL_HEADER, TrailTable, trail_rows
from fleet.web import clock, csv_out
from fleet.web.guards import guard
from fleet.web.paging import paged


@guard(May.SEE_TRAIL)
@require_safe
def trail(request: HttpRequest) -> HttpResponse:
    """Who did what, when, to what, from what to what and why, as far as it concerns the person's places."""
    narrowed = _narrowed(request)
    table = TrailTable(narrowed.qs, empty_text="Nothing like that was done.")
    paged(request, table)
    ids = {row.record.device_ref for row in table.paginated_rows}
    table.drivers = dict(Device.objects.filter(pk__in=ids).values_list("pk", "asset_number"))
    table.people = queries.names()
    shown = {"filter": narrowed, "table": table, "query": request.GET.urlencode()}
    return render(request, "reports/trail.html", shown)


@guard(May.SEE_TRAIL)
@require_safe
def trail_csv(request: HttpRequest) -> HttpResponseBase:
    """The same entries as a file."""
    entries = _narrowed(request).qs.iterator(chunk_size=500)
    return csv_out.answer(f"trail-{clock.today().isoformat()}", TRAIL_HEADER, trail_rows(entries, queries.names()))


@guard(May.SEE_TRAIL)
@require_safe
def seals(request: HttpRequest) -> HttpResponse:
    """When the trail was last sealed and verified, and the digest to note elsewhere."""
    stands = queries.sealing()
    # A flaw may name an order of another site: told one by one to whoever sees every place.
    flaws = stands.verification.after["flaws"] if stands.verification and person_of(request).everywhere else []
    shown = {"sealing": stands, "flaws": flaws, "above": [("Trail", reverse("reports:trail"))]}
    return render(request, "reports/seals.html", shown)


def _narrowed(request: HttpRequest) -> TrailFilter:
    return TrailFilter(request.GET, queryset=queries.trail(person_of(request)), request=request)
