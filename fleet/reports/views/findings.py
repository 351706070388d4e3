"""What planned services come upon, by type and plan, and the faults that work left behind."""

from collections.abc import Iterator
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.bench import queries as bench
from fleet.bench.models import Order
from fleet.bench.queries import AfterWork, Findings, Yield
from fleet.core.permissions import May
from fleet.core.proportion import Proportion
from fleet.people.queries import person_of
from fleet.reports.forms import FinishedForm, last_months
from fleet.schedules.wording import every_words
from fleet.web import clock, csv_out, phrases
from fleet.web.guards import guard

_SHOWN = 100
_HEADER = (
    "Of", "Type", "Plan", "Services", "Not stated", *(str(label) for label in Order.Finding.labels),
    "Came upon something", "From", "To", "Hidden or potential failure", "From", "To",
)  # fmt: skip


@guard(May.SEE_REPORTS)
@require_safe
def findings(request: HttpRequest) -> HttpResponse:
    """The yield of planned services and the faults after work, of a period."""
    form, first, last = _asked(request)
    person = person_of(request)
    found = bench.findings(first, last, person)
    shown = {
        "form": form,
        "first": first,
        "last": last,
        "query": urlencode({"first": first.isoformat(), "last": last.isoformat()}),
        "found": found,
        "tables": [
            ("By type", "Type", [_row(each, first, last) for each in [found.overall, *found.by_type]]),
            ("By plan", "Plan", [_row(each, first, last) for each in found.by_plan]),
        ],
        "findings": [words for _, words, _ in found.overall.by_finding],
        "after": _after(found, by_person=person.may(May.SEE_PERSON_FIGURES)),
        "causes": [str(label).split(",", maxsplit=1)[0] for label in Order.Caused.labels],
        "faults": found.faults[:_SHOWN],
    }
    return render(request, "reports/findings.html", shown)


@guard(May.SEE_REPORTS)
@require_safe
def findings_csv(request: HttpRequest) -> HttpResponseBase:
    """The yields as a file for a spreadsheet; shares as numbers from 0 to 1."""
    _, first, last = _asked(request)
    return csv_out.answer("findings", _HEADER, _lines(bench.findings(first, last, person_of(request))))


def _asked(request: HttpRequest) -> tuple[FinishedForm, date, date]:
    form = FinishedForm(request.GET or last_months(clock.today()))
    asked = form.cleaned_data if form.is_valid() else last_months(clock.today())
    return form, asked["first"], asked["last"]


def _lines(found: Findings) -> Iterator[list[csv_out.Cell]]:
    for group, rows in (("All", [found.overall]), ("Type", found.by_type), ("Plan", found.by_plan)):
        for row in rows:
            shares = [cell for each in (row.any, row.grave) for cell in _numbers(each)]
            counts = [number for _, _, number in row.by_finding]
            about = str(row.device_type or "")
            yield [group, about, str(row.plan or ""), row.services, row.counts[""], *counts, *shares]


def _numbers(share: Proportion | None) -> list[float | None]:
    return [None] * 3 if share is None else [round(each, 5) for each in (share.share, share.low, share.high)]


def _row(row: Yield, first: date, last: date) -> dict[str, Any]:
    """One line of a table; each number with the address of the orders behind it."""
    more: dict[str, object] = {"type": row.device_type.pk if row.device_type else ""}
    more |= {"plan": row.plan.pk} if row.plan else {}
    counts = [(words, number, _orders(first, last, finding=code, **more)) for code, words, number in row.by_finding]
    return {
        "row": row,
        "name": _name(row),
        "services": _orders(first, last, kind="planned", **more),
        "unstated": (row.counts[""], _orders(first, last, finding="none", **more)),
        "counts": counts,
        "any": _said(row.any),
        "grave": _said(row.grave),
    }


def _name(row: Yield) -> str:
    if row.plan is None:
        return row.name
    return f"{row.name}, {row.device_type}, every {every_words(row.plan.every)}"


def _said(share: Proportion | None) -> tuple[str, str]:
    """The share and, below it, what lies behind it: `12 %`, `of 42, 5 to 25 %`."""
    if share is None:
        return "none stated", ""
    low, high = (f"{100 * each:.1f}" for each in (share.low, share.high))
    return phrases.percent(share.share), f"{share.part} of {share.whole}; {low} to {high}{phrases.NO_BREAK}%"


def _orders(first: date, last: date, **more: object) -> str:
    query = {"state": "done", "completed_min": first.isoformat(), "completed_max": last.isoformat(), **more}
    return f"{reverse('bench:orders')}?{urlencode({name: value for name, value in query.items() if value != ''})}"


def _after(found: Findings, *, by_person: bool) -> list[tuple[str, str, list[dict[str, Any]]]]:
    parts = [("By type", "Type", [found.after, *found.after_by_type]), ("By kind of work", "Work", found.after_by_kind)]
    if by_person:
        parts.append(("By person who ended the work", "Person", found.after_by_person))
    return [(title, column, [_work(row) for row in rows]) for title, column, rows in parts]


def _work(row: AfterWork) -> dict[str, Any]:
    counts = [(str(label).split(",", maxsplit=1)[0], row.counts[value]) for value, label in Order.Caused.choices]
    return {"row": row, "counts": counts, "unstated": row.counts[""], "caused": _said(row.caused)}
