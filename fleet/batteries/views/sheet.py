"""The bench sheet of a runtime-test rack: which drivers to test today, why, where they are and how long it takes."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.batteries import queries, wording
from fleet.batteries.filters import SHEET_SIZES, SheetFilter
from fleet.batteries.views.common import FIRST, above
from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.web.guards import guard


@guard(May.SEE_FLEET)
@require_safe
def sheet(request: HttpRequest) -> HttpResponse:
    """The drivers to test first, at the place, of the type and in the pool asked for."""
    asked = request.GET.get("count", "")
    asked = asked if asked in SHEET_SIZES else ""
    number, size = SHEET_SIZES[asked]
    narrowed = _narrowed(request, asked)
    found = queries.sheet(narrowed.qs, size)
    context = {
        "above": above(),
        "filter": narrowed,
        "title": f"{number} to test today",
        "scope": _scope(narrowed),
        "sheet": found,
        "short": 0 < len(found.rows) < size,
        "charge": wording.span(found.charge),
        "run": wording.about(found.run),
        "total": wording.about(found.charge + found.run),
        "first": FIRST,
    }
    return render(request, "batteries/sheet.html", context)


def _narrowed(request: HttpRequest, count: str) -> SheetFilter:
    typed = request.GET.copy()
    typed["count"] = count
    return SheetFilter(typed, queryset=queries.testable(person_of(request)), request=request)


def _scope(narrowed: SheetFilter) -> str:
    """What the list was narrowed to, for the printed sheet."""
    typed: dict[str, Any] = narrowed.form.cleaned_data if narrowed.form.is_valid() else {}
    place, kind = typed.get("place"), typed.get("type")
    where = "all places" if place is None else str(place) if place.site_id == place.pk else f"{place}, {place.site}"
    return f"At {where}, {kind or 'all types'}"
