"""How long the bench takes, and what comes of its work."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.bench.models import OrderKind
from fleet.bench.queries import turnaround as of_bench
from fleet.bench.queries.turnaround import Line
from fleet.core.due import months_between
from fleet.core.orders import OrderState, Outcome
from fleet.core.permissions import May
from fleet.core.share import format_percent
from fleet.people.queries import person_of
from fleet.reports import queries
from fleet.reports.forms import TurnaroundForm, last_months
from fleet.reports.views import labour
from fleet.web import bars as figure
from fleet.web import clock, phrases
from fleet.web.guards import guard

#: More bars than this stand too close to be read on a phone.
MOST_BARS = 13


@guard(May.SEE_REPORTS)
@require_safe
def turnaround(request: HttpRequest) -> HttpResponse:
    """From report to return, hands-on minutes and waiting, by site, type and month; outcomes of repairs."""
    form = TurnaroundForm(request.GET or last_months(clock.today()))
    asked = form.cleaned_data if form.is_valid() else last_months(clock.today())
    first, last, kind = asked["first"], asked["last"], asked["kind"]
    found = of_bench(first, last, person_of(request), kind=kind)
    months = _by_month(found.by_month, first, last)
    shown = {
        "form": form,
        "first": first,
        "last": last,
        "overall": found.overall,
        "waiting": _share(found.overall.waiting),
        "all_orders": _orders(first, last, kind=kind),
        "parts": [
            ("By site", "Site", [_row(line, _orders(first, last, kind=kind, site=line.key)) for line in found.by_site]),
            ("By type", "Type", [_row(line, _orders(first, last, kind=kind, type=line.key)) for line in found.by_type]),
        ],
        "months": months,
        "plot": _plot(months),
        "most_bars": MOST_BARS,
        "labour": labour.told(request, {"first": first, "last": last, "kind": kind}),
        "outcomes": _outcomes(queries.outcomes(first, last, person_of(request)), first, last),
    }
    return render(request, "reports/turnaround.html", shown)


def _row(line: Line, url: str) -> dict[str, Any]:
    return {
        "name": line.name,
        "orders": line.orders,
        "days": figure.one_decimal(line.days),
        "minutes": figure.one_decimal(line.minutes),
        "waiting": _share(line.waiting),
        "url": url,
    }


def _by_month(lines: list[Line], first: date, last: date) -> list[tuple[date, Line | None, dict[str, Any] | None]]:
    """Every month of the period, also those in which no order was finished."""
    known = {line.name: line for line in lines}
    months = [(month, known.get(f"{month:%Y-%m}")) for month in months_between(first, last)]
    return [
        (month, line, _row(line, _orders(*_within(month, first, last))) if line else None) for month, line in months
    ]


def _within(month: date, first: date, last: date) -> tuple[date, date]:
    end = months_between(month, month + timedelta(days=31))[1] - timedelta(days=1)
    return max(first, month), min(last, end)


def _plot(months: list[tuple[date, Line | None, dict[str, Any] | None]]) -> str:
    shown = months[-MOST_BARS:]
    each = [figure.Bar(_short(month), line.days if line else None) for month, line, _ in shown]
    return figure.bars(each, "Median days from report to return, by month", "days")


def _short(month: date) -> str:
    """`Mar`: the years stand in the caption and in the table."""
    return phrases.day(month).split(phrases.NO_BREAK)[1]


def _share(waiting: float | None) -> str:
    return figure.NO_VALUE if waiting is None else phrases.percent(waiting, 0)


def _orders(first: date, last: date, **more: object) -> str:
    """The address of the finished orders of a period, narrowed further by what is known."""
    query = {"state": OrderState.DONE.value, "completed_min": first.isoformat(), "completed_max": last.isoformat()}
    known = {name: value for name, value in more.items() if value not in (None, "")}
    return f"{reverse('bench:orders')}?{urlencode({**query, **known})}"


def _outcomes(found: queries.Outcomes, first: date, last: date) -> dict[str, Any]:
    kind = OrderKind.CORRECTIVE.value
    return {
        "orders": found.orders,
        "no_fault": format_percent(found.share(Outcome.NO_FAULT_FOUND), none_words="no repair"),
        "rows": [
            (
                outcome.label,
                number,
                format_percent(found.share(outcome)),
                _orders(first, last, kind=kind, outcome=outcome.value),
            )
            for outcome, number in found.counts.items()
        ],
    }
