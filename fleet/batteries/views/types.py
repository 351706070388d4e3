"""Types of pack side by side: a table that can be sorted, and the same as a file."""

from collections.abc import Iterator

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.batteries import queries
from fleet.batteries.tables import TypeTable
from fleet.batteries.views.common import above
from fleet.core.permissions import May
from fleet.web import clock, csv_out
from fleet.web.csv_out import Cell
from fleet.web.guards import guard
from fleet.web.paging import paged

HEADER = (
    "Type", "Chemistry", "Reference rate, mL/h", "Rated hours at it", "Lost in the first year",
    "1 in 10 lasts under, years", "Half last under, years", "9 in 10 last under, years", "Price of a pack",
    "Price a year", "Currency", "Packs fitted", "Packs tested", "Tests", "Rests on",
)  # fmt: skip


@guard(May.SEE_FLEET)
@require_safe
def types(request: HttpRequest) -> HttpResponse:
    """How long each type runs and lasts, and what a year with it costs."""
    rows = queries.compared()
    context = {
        "above": above(),
        "table": paged(request, TypeTable(rows)),
        "count": len(rows),
        "assumed": [row for row in rows if row.is_assumed],
        "currency": settings.CURRENCY,
    }
    return render(request, "batteries/types.html", context)


@guard(May.SEE_FLEET)
@require_safe
def types_csv(_request: HttpRequest) -> HttpResponseBase:
    """The same as a file for a spreadsheet."""
    return csv_out.answer(f"pack-types-{clock.today().isoformat()}", HEADER, _rows())


def _rows() -> Iterator[tuple[Cell, ...]]:
    for row in queries.compared():
        yield (
            row.name,
            row.device_type.chemistry,
            row.device_type.reference_rate,
            row.hours,
            *(_rounded(value) for value in (row.fade, row.low, row.middle, row.high)),
            row.price,
            _rounded(row.per_year, 2),
            settings.CURRENCY,
            row.fitted,
            row.tested,
            row.tests,
            row.rests_on,
        )


def _rounded(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(value, digits)
