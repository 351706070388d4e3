"""The log of sign-ins and refusals, for whoever keeps people."""

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.people import queries
from fleet.people.tables import ACCESS_HEADER, AccessFilter, AccessTable, access_rows
from fleet.web import clock, csv_out
from fleet.web.guards import guard
from fleet.web.paging import paged


@guard(May.MANAGE_PEOPLE)
@require_safe
def access(request: HttpRequest) -> HttpResponse:
    """Who came in, who was kept out, when and from where; searched."""
    narrowed = AccessFilter(request.GET, queryset=queries.access())
    table = AccessTable(narrowed.qs)
    paged(request, table)
    above = [("People", reverse("people:list"))]
    shown = {"filter": narrowed, "table": table, "above": above, "query": request.GET.urlencode()}
    return render(request, "people/access.html", shown)


@guard(May.MANAGE_PEOPLE)
@require_safe
def access_csv(request: HttpRequest) -> HttpResponseBase:
    """The same lines as a file."""
    rows = AccessFilter(request.GET, queryset=queries.access()).qs.iterator(chunk_size=500)
    return csv_out.answer(f"access-{clock.today().isoformat()}", ACCESS_HEADER, access_rows(rows))
