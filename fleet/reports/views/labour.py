"""The hours of finished orders by activity, and by person for whoever may see figures of persons."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.views.decorators.http import require_safe

from fleet.bench.models import Labour
from fleet.bench.queries.labour import Hours, Spent, labour
from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.reports.forms import TurnaroundForm, last_months
from fleet.web import bars as figure
from fleet.web import clock, csv_out, phrases
from fleet.web.guards import guard

_HEADER = ("Person", *(f"{label}, h" for label in Labour.Activity.labels), "In all, h", "Orders finished from", "to")


def told(request: HttpRequest, asked: dict[str, Any]) -> dict[str, Any]:
    """What the page of turnaround shows of hours; `asked` is the period and the kind of work."""
    found = _found(request, asked)
    return {
        "activities": Labour.Activity.labels,
        "overall": _row(found.overall),
        "people": [_row(each) for each in found.by_person] if _sees_persons(request) else [],
        "any": bool(found.overall.minutes),
        "speed": found.speed,
        "query": urlencode({name: value.isoformat() if name != "kind" else value for name, value in asked.items()}),
    }


@guard(May.SEE_REPORTS)
@require_safe
def labour_csv(request: HttpRequest) -> HttpResponseBase:
    """The hours as a file: all together, and each person for whoever may see that."""
    usual = last_months(clock.today())
    form = TurnaroundForm(request.GET or usual)
    asked = form.cleaned_data if form.is_valid() else usual
    found = _found(request, asked)
    rows = [found.overall, *(found.by_person if _sees_persons(request) else [])]
    lines = (
        (row.name, *(round(hours, 2) for hours in row.by_activity), round(row.total, 2), asked["first"], asked["last"])
        for row in rows
    )
    return csv_out.answer("hours", _HEADER, lines)


def _found(request: HttpRequest, asked: dict[str, Any]) -> Spent:
    return labour(asked["first"], asked["last"], person_of(request), kind=asked["kind"])


def _sees_persons(request: HttpRequest) -> bool:
    return person_of(request).may(May.SEE_PERSON_FIGURES)


def _row(hours: Hours) -> dict[str, Any]:
    waiting = figure.NO_VALUE if hours.waiting is None else phrases.percent(hours.waiting, 0)
    cells = list(zip(Labour.Activity.labels, map(figure.one_decimal, hours.by_activity), strict=True))
    return {"name": hours.name, "cells": cells, "total": figure.one_decimal(hours.total), "waiting": waiting}
