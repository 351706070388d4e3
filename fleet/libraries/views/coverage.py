"""Where each place stands, the drivers behind its numbers, and recording what drivers carry."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.core.share import format_percent, share
from fleet.libraries import actions, queries
from fleet.libraries.filters import WITHDRAWN, CarriedFilter
from fleet.libraries.forms import ScanForm
from fleet.libraries.queries import Coverage, State
from fleet.libraries.tables import HEIGHT, WIDTH, CarriedTable, line_points
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import guard
from fleet.web.paging import paged

TREND_DAYS = 180


@guard(May.SEE_FLEET)
@require_safe
def coverage(request: HttpRequest) -> HttpResponse:
    """How many drivers of each place are current, behind, not seen lately or never seen."""
    today, person = clock.today(), person_of(request)
    rows = queries.coverage(person, today)
    context = {
        "rows": [_line(row) for row in rows],
        "totals": [(state, _sum(rows, state), _to_drivers(state)) for state in State],
        "withdrawn": (sum(row.withdrawn for row in rows), _to_drivers(WITHDRAWN)),
        "current": format_percent(share(_sum(rows, State.CURRENT), sum(row.total for row in rows)), none_words="none"),
        "libraries": queries.libraries(),
        "days": queries.NOT_SEEN_DAYS,
        "trend": _trend(person, today),
    }
    return render(request, "libraries/coverage.html", context)


@guard(May.SEE_FLEET)
@require_safe
def drivers(request: HttpRequest) -> HttpResponse:
    """The drivers behind the numbers."""
    rows = queries.with_library(person_of(request))
    narrowed = CarriedFilter(request.GET, queryset=rows, request=request)
    table = CarriedTable(narrowed.qs)
    paged(request, table)
    table.standings = queries.standing([row.record for row in table.paginated_rows], clock.today())
    context = {
        "filter": narrowed,
        "table": table,
        "count": narrowed.qs.count(),
        "above": [("Library coverage", reverse("libraries:coverage"))],
    }
    return render(request, "libraries/drivers.html", context)


@guard(May.UPDATE_LIBRARY)
@require_http_methods(["GET", "HEAD", "POST"])
def scan(request: HttpRequest) -> HttpResponse:
    """Record the version that a list of drivers was seen to carry."""
    first = {"codes": request.GET.get("codes", "")}
    form = ScanForm(request.POST or None, person=person_of(request), initial=first)
    if form.is_valid() and (words := _recorded(request, form.cleaned_data, form)):
        messages.success(request, words)
        return redirect("libraries:scan")
    return render(
        request, "libraries/scan.html", {"form": form, "above": [("Library coverage", reverse("libraries:coverage"))]}
    )


def _recorded(request: HttpRequest, typed: dict[str, Any], form: ScanForm) -> str:
    try:
        rows = actions.carry_all(
            typed["codes"],
            typed["version"],
            seen_at=typed["seen_at"] or clock.now(),
            source="scan list",
            by=acting(request),
        )
    except BenchwardError as error:
        put_beside(form, error)
        return ""
    number = "1 driver" if len(rows) == 1 else f"{len(rows)} drivers"
    return f"{number} seen with {typed['version']}."


def _line(row: Coverage) -> tuple[Coverage, str, list[tuple[State, int, str]]]:
    cells = [(state, row.counts[state], _to_drivers(state, row.place.pk)) for state in State]
    return row, format_percent(share(row.current, row.total), none_words="—"), cells


def _sum(rows: list[Coverage], state: State) -> int:
    return sum(row.counts[state] for row in rows)


def _to_drivers(state: str, home: int | None = None) -> str:
    query = {"state": str(state)} | ({"home": str(home)} if home else {})
    return f"{reverse('libraries:drivers')}?{urlencode(query)}"


def _trend(person: Person, today: date) -> dict[str, Any] | None:
    """The line of the daily shares, once there are two days to join."""
    shares = queries.shares(person, today - timedelta(days=TREND_DAYS))
    if len(shares) < 2:  # noqa: PLR2004 - a line has two ends
        return None
    return {"points": line_points(shares), "first": shares[0], "last": shares[-1], "width": WIDTH, "height": HEIGHT}
