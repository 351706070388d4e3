"""What is late, and what is coming."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, cast

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.core.due import add_months
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import person_of
from fleet.schedules import queries
from fleet.schedules.filters import ComingFilter, DueFilter, OverdueFilter
from fleet.schedules.models import DueQuerySet
from fleet.schedules.tables import CSV_HEADER, AlternativeTable, DepartedTable, DueTable, csv_rows
from fleet.schedules.views.tabs import tabs as plan_tabs
from fleet.web import clock, csv_out, phrases
from fleet.web.guards import guard
from fleet.web.paging import paged, with_values

MONTHS_AHEAD = 12
DAYS_AHEAD = ("7", "30", "90")
GROUPINGS = {"": "Each driver", "site": "By site", "home": "By ward", "type": "By type"}


@dataclass(frozen=True, slots=True)
class Tab:
    """A link to a sister page."""

    label: str
    url: str
    current: bool
    count: int | None = None


@guard(May.SEE_FLEET)
@require_safe
def overdue(request: HttpRequest) -> HttpResponse:
    """The drivers whose work is late, one by one or counted by site, ward or type."""
    narrowed = _overdue(request)
    by = request.GET.get("by", "")
    by = by if by in GROUPINGS else ""
    rows = cast("DueQuerySet", narrowed.qs)
    ages = _ages(rows, request)
    context: dict[str, Any] = {
        "filter": narrowed,
        "by": by,
        "count": sum(number for _, number, _ in ages),
        "ages": ages,
        "tabs": [Tab(label, with_values(request.GET, by=name), name == by) for name, label in GROUPINGS.items()],
        "csv": with_values(request.GET, by=""),
    }
    if by:
        context["groups"] = [
            (group, with_values(request.GET, by="", **{by: group.pk})) for group in queries.grouped(rows, by)
        ]
    else:
        context["table"] = _table(
            request, rows, "No driver is late." if not request.GET else "No late driver fits this."
        )
    return render(request, "schedules/overdue.html", context)


@guard(May.SEE_FLEET)
@require_safe
def overdue_csv(request: HttpRequest) -> HttpResponseBase:
    """The same rows as a file for a spreadsheet."""
    rows = _overdue(request).qs.iterator(chunk_size=500)
    return csv_out.answer(f"late-{clock.today().isoformat()}", CSV_HEADER, csv_rows(rows))


@guard(May.SEE_FLEET)
@require_safe
def due(request: HttpRequest) -> HttpResponse:
    """What comes due, month by month; what is due already and not late stands in the first month."""
    today, narrowed = clock.today(), _coming(request)
    rows, months = cast("DueQuerySet", narrowed.qs), _months_ahead()
    days, chosen = _days_ahead(request), _chosen(request, months)
    shown = _shown(request, rows)
    context = {
        "filter": narrowed,
        "tabs": _month_tabs(request, rows, months, None if days else chosen),
        "count": shown.count(),
        "month": f"the next {days} days" if days else phrases.day(chosen).split(phrases.NO_BREAK, 1)[1],
        "late": queries.overdue(today, _person(request)).count(),
        "table": _table(request, shown, "Nothing comes due in this month.", order_by="due_on"),
        "csv": with_values(request.GET),
    }
    return render(request, "schedules/due.html", context)


@guard(May.SEE_FLEET)
@require_safe
def due_csv(request: HttpRequest) -> HttpResponseBase:
    """The dues of the month or days shown, with the day each is planned for, as a file."""
    rows = _shown(request, cast("DueQuerySet", _coming(request).qs)).iterator(chunk_size=500)
    return csv_out.answer(f"due-{clock.today().isoformat()}", CSV_HEADER, csv_rows(rows))


@guard(May.SEE_FLEET)
@require_safe
def alternative(request: HttpRequest) -> HttpResponse:
    """The drivers on another schedule than their maker's, each with the reason."""
    narrowed = DueFilter(request.GET, queryset=queries.alternative(_person(request)), request=request)
    context = {
        "filter": narrowed,
        "count": narrowed.qs.count(),
        "table": paged(request, AlternativeTable(narrowed.qs)),
        "departed": DepartedTable(queries.departed_plans(_person(request))),
        "tabs": plan_tabs("alternative"),
    }
    return render(request, "schedules/alternative.html", context)


def _coming(request: HttpRequest) -> ComingFilter:
    today = clock.today()
    rows = queries.coming(today, _end_of(add_months(today, MONTHS_AHEAD - 1)), _person(request))
    return ComingFilter(request.GET, queryset=rows, request=request)


def _months_ahead() -> list[date]:
    return [add_months(clock.today().replace(day=1), ahead) for ahead in range(MONTHS_AHEAD)]


def _shown(request: HttpRequest, rows: DueQuerySet) -> DueQuerySet:
    """The dues of the days or the month that the address asks for."""
    if days := _days_ahead(request):
        return rows.filter(due_on__lte=clock.today() + timedelta(days=days))
    months = _months_ahead()
    return _of_month(rows, months, _chosen(request, months))


def _days_ahead(request: HttpRequest) -> int:
    """How many days ahead the list looks, where the address says so instead of a month; 0 where it doesn't."""
    asked = request.GET.get("days", "")
    return int(asked) if asked in DAYS_AHEAD else 0


def _chosen(request: HttpRequest, months: list[date]) -> date:
    return next((month for month in months if f"{month:%Y-%m}" == request.GET.get("month")), months[0])


def _of_month(rows: DueQuerySet, months: list[date], chosen: date) -> DueQuerySet:
    shown = rows.filter(due_on__lte=_end_of(chosen))
    return shown if chosen == months[0] else shown.filter(due_on__gte=chosen)


def _month_tabs(request: HttpRequest, rows: DueQuerySet, months: list[date], chosen: date | None) -> list[Tab]:
    counts = queries.months(rows)
    first = months[0]
    counts[first] = sum(number for month, number in counts.items() if month <= first)
    return [
        Tab(phrases.day(month).split(phrases.NO_BREAK, 1)[1], with_values(request.GET, days="", month=f"{month:%Y-%m}"),
            month == chosen, counts.get(month, 0))
        for month in months
    ]  # fmt: skip


def _overdue(request: HttpRequest) -> OverdueFilter:
    rows = queries.overdue(clock.today(), _person(request))
    return OverdueFilter(request.GET, queryset=rows, request=request)


def _ages(rows: DueQuerySet, request: HttpRequest) -> list[tuple[str, int, str]]:
    counts = queries.ages(rows, clock.today()).items()
    return [(ageing.label, number, with_values(request.GET, by="", age=ageing.value)) for ageing, number in counts]


def _table(request: HttpRequest, rows: DueQuerySet, empty: str, order_by: str = "standing") -> DueTable:
    table = DueTable(rows, empty_text=empty, order_by=order_by)
    paged(request, table)
    return table


def _end_of(month: date) -> date:
    return month.replace(day=1) + timedelta(days=monthrange(month.year, month.month)[1] - 1)


def _person(request: HttpRequest) -> Person:
    return person_of(request)
