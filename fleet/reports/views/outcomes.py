"""What the faults that wards reported came to: by ward and type, with their codes, and what wards can be taught by."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Final
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.bench.models import Order, OrderKind
from fleet.bench.queries import AGAIN_DAYS, came_back
from fleet.core.orders import OrderState, Outcome
from fleet.core.permissions import May
from fleet.core.proportion import Proportion, proportion
from fleet.people.queries import person_of
from fleet.reports import queries
from fleet.reports.forms import FinishedForm, last_months
from fleet.reports.queries import OutcomeLine
from fleet.web import clock, csv_out, phrases
from fleet.web.guards import guard

#: More use-related orders than this are left to the list of orders.
SHOWN: Final = 100
_HEADER = ("Of", "Name", "Repairs", *(outcome.label for outcome in Outcome))
#: Outcomes whose share is told with its interval.
_SHARES: Final = frozenset({Outcome.NO_FAULT_FOUND, Outcome.USE_RELATED})
_TITLES: Final = {"found": "What was found", "cause_kind": "Cause", "action_kind": "What was done"}
_LABELS: Final = {"found": Order.Found, "cause_kind": Order.Cause, "action_kind": Order.Action}


@guard(May.SEE_REPORTS)
@require_safe
def outcomes(request: HttpRequest) -> HttpResponse:
    """The repairs of a period by outcome; each number leads to its orders."""
    form, first, last = _asked(request)
    person = person_of(request)
    found, back = queries.repairs(first, last, person), came_back(first, last, person)
    return render(
        request,
        "reports/outcomes.html",
        {
            "form": form,
            "first": first,
            "last": last,
            "query": urlencode({"first": first.isoformat(), "last": last.isoformat()}),
            "overall": found.overall,
            "all": _orders(first, last),
            "no_fault": _said(found.overall.share_of(Outcome.NO_FAULT_FOUND)),
            "use_related": _said(found.overall.share_of(Outcome.USE_RELATED)),
            "outcomes": [outcome.label for outcome in Outcome],
            "parts": [
                ("By home place", "Place", [_row(line, first, last, home=line.key) for line in found.by_home]),
                ("By type", "Type", [_row(line, first, last, type=line.key) for line in found.by_type]),
            ],
            "codes": [
                (_TITLES[field], _codes(field, counts, found.overall.orders, first, last))
                for field, counts in found.codes.items()
            ],
            "back": back,
            "back_shown": back.returns[:SHOWN],
            "back_share": _said(proportion(len(back.returns), found.overall.orders)),
            "again_days": AGAIN_DAYS,
            "taught": found.use_related[:SHOWN],
            "taught_all": len(found.use_related),
            "taught_url": _orders(first, last, outcome=Outcome.USE_RELATED.value),
        },
    )


@guard(May.SEE_REPORTS)
@require_safe
def outcomes_csv(request: HttpRequest) -> HttpResponseBase:
    """The same numbers as a file for a spreadsheet."""
    _, first, last = _asked(request)
    return csv_out.answer("outcomes", _HEADER, _lines(queries.repairs(first, last, person_of(request))))


def _lines(found: queries.Repairs) -> Iterator[Sequence[csv_out.Cell]]:
    for of, lines in (("All", [found.overall]), ("Home place", found.by_home), ("Type", found.by_type)):
        for line in lines:
            yield [of, line.name, line.orders, *(line.counts[outcome.value] for outcome in Outcome)]


def _asked(request: HttpRequest) -> tuple[FinishedForm, date, date]:
    """The period asked for, else the last months."""
    usual = last_months(timezone.localdate(clock.now()))
    form = FinishedForm(request.GET or usual)
    asked = form.cleaned_data if form.is_valid() else usual
    return form, asked["first"], asked["last"]


def _row(line: OutcomeLine, first: date, last: date, **of: int | None) -> dict[str, Any]:
    return {
        "name": line.name,
        "orders": line.orders,
        "url": _orders(first, last, **of),
        "counts": [
            (
                outcome.label,
                line.counts[outcome.value],
                _orders(first, last, outcome=outcome.value, **of),
                _in_short(line.share_of(outcome)) if outcome in _SHARES else "",
            )
            for outcome in Outcome
        ],
    }


def _in_short(part: Proportion | None) -> str:
    """`67 %; 21 to 94 %`."""
    if part is None:
        return ""
    low, high = (f"{100 * each:.0f}" for each in (part.low, part.high))
    return f"{phrases.percent(part.share, 0)}; {low} to {high}{phrases.NO_BREAK}%"


def _codes(field: str, counts: Counter[str], orders: int, first: date, last: date) -> list[tuple[str, int, str, str]]:
    """Each code of a field that was used, the most frequent first, and last those that state none."""
    stated = sorted(((code, many) for code, many in counts.items() if code), key=lambda each: (-each[1], each[0]))
    rows = [*stated, ("", counts[""])] if counts[""] else stated
    return [
        (
            str(_LABELS[field](code).label) if code else "Not stated",
            many,
            phrases.percent(many / orders),
            _orders(first, last, **{field: code or "none"}),
        )
        for code, many in rows
    ]


def _said(part: Proportion | None) -> tuple[str, str]:
    """The share, and below it what lies behind it."""
    if part is None:
        return "no repair", ""
    low, high = (f"{100 * each:.0f}" for each in (part.low, part.high))
    return phrases.percent(part.share), f"{part.part} of {part.whole}; {low} to {high}{phrases.NO_BREAK}%"


def _orders(first: date, last: date, **more: object) -> str:
    """The address of the finished repairs of a period, narrowed further."""
    query = {
        "state": OrderState.DONE.value,
        "kind": OrderKind.CORRECTIVE.value,
        "completed_min": first.isoformat(),
        "completed_max": last.isoformat(),
        **more,
    }
    return f"{reverse('bench:orders')}?{urlencode(query)}"
