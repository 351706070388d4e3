"""What work cost, by type, kind, month and driver; and how often parts are replaced."""

from collections.abc import Iterator
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.bench.queries import rates
from fleet.core.due import months_between
from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.registry.queries import devices
from fleet.reports import queries
from fleet.reports.forms import FinishedForm, last_months
from fleet.web import bars as figure
from fleet.web import clock, csv_out, phrases
from fleet.web.guards import fetch, guard

#: More bars than this stand too close to be read on a phone; more plots than this are no overview.
MOST_BARS = 13
MOST_PLOTS = 4
HEADER = ("Of", "Name", "Orders", "Parts", "Packs", "Labour", "Others", "In all", "Minutes", "Currency")


@guard(May.SEE_REPORTS)
@require_safe
def costs(request: HttpRequest) -> HttpResponse:
    """What the work of a period cost, with a plot for each of the dearest types, and the dearest drivers."""
    form, first, last = _asked(request)
    found = queries.costs(first, last, person_of(request))
    value = queries.value_of_fleet(person_of(request))
    of_purchase, of_replacement = value.shares(found.overall.cost.total, (last - first).days + 1)
    shown = {
        "value": value,
        "of_purchase": of_purchase,
        "of_replacement": of_replacement,
        "form": form,
        "first": first,
        "last": last,
        "query": urlencode({"first": first.isoformat(), "last": last.isoformat()}),
        "currency": settings.CURRENCY,
        "found": found,
        "priced": rates().exists(),
        "parts": [("By type", "Type", found.by_type), ("By kind of work", "Kind", found.by_kind)],
        "plots": [_plot(line, found, first, last) for line in found.by_type[:MOST_PLOTS] if line.cost.total],
        "drivers": queries.dearest(person_of(request)),
    }
    return render(request, "reports/costs.html", shown)


def _asked(request: HttpRequest) -> tuple[FinishedForm, date, date]:
    usual = last_months(clock.today())
    form = FinishedForm(request.GET or usual)
    asked = form.cleaned_data if form.is_valid() else usual
    return form, asked["first"], asked["last"]


def _plot(line: queries.CostLine, found: queries.Costs, first: date, last: date) -> tuple[str, str]:
    held = found.months.get(line.key, {})
    months = months_between(first, last)[-MOST_BARS:]
    each = [figure.Bar(_short(month), round(float(held.get(month, 0)))) for month in months]
    return line.name, figure.bars(each, f"Cost of {line.name} by month", settings.CURRENCY)


def _short(month: date) -> str:
    return phrases.day(month).split(phrases.NO_BREAK)[1]


@guard(May.SEE_REPORTS)
@require_safe
def costs_csv(request: HttpRequest) -> HttpResponseBase:
    """The same groups as a file."""
    _form, first, last = _asked(request)
    found = queries.costs(first, last, person_of(request))
    return csv_out.answer("costs", HEADER, _lines(found))


def _lines(found: queries.Costs) -> Iterator[tuple[csv_out.Cell, ...]]:
    groups = (("All", [found.overall]), ("Type", found.by_type), ("Kind", found.by_kind), ("Year", found.by_year))
    for of, rows in groups:
        for row in rows:
            cost = row.cost
            money = (cost.parts, cost.packs, cost.labour, cost.external, cost.total)
            yield (of, row.name, row.orders, *money, cost.minutes, settings.CURRENCY)


@guard(May.SEE_REPORTS)
@require_safe
def driver_cost(request: HttpRequest, asset: str) -> HttpResponse:
    """What one driver has cost so far, order by order, against its price."""
    device = fetch(devices(), request, asset_number=asset)
    whole, each, packs = queries.of_driver(device)
    shown = {"device": device, "whole": whole, "orders": each, "packs": packs, "currency": settings.CURRENCY}
    return render(request, "reports/driver_cost.html", shown)


@guard(May.SEE_REPORTS)
@require_safe
def replaced(request: HttpRequest) -> HttpResponse:
    """How often each part was replaced in a period."""
    form, first, last = _asked(request)
    shown: dict[str, Any] = {
        "form": form,
        "first": first,
        "last": last,
        "rows": queries.replaced(first, last, person_of(request)),
    }
    return render(request, "reports/replaced.html", shown)
