"""Files sent in, sending one, and what each kind of file looks like."""

from collections.abc import Sequence

from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.permissions import May
from fleet.exchange import actions, queries
from fleet.exchange.forms import SendForm
from fleet.exchange.kinds import Kind, Scope, kind_of
from fleet.exchange.models import Intake
from fleet.exchange.tables import IntakeTable
from fleet.people.queries import acting, person_of
from fleet.web import clock, csv_out
from fleet.web.forms import put_beside
from fleet.web.guards import guard
from fleet.web.paging import paged

_BEFORE = (
    "No names of patients or of anybody treated, in any column.",
    "Make columns of asset, serial and pack numbers text in the spreadsheet, or it takes their leading zeros.",
)


@guard(May.IMPORT_RECORDS)
@require_safe
def intakes(request: HttpRequest) -> HttpResponse:
    """The files the person sent, and what can be sent in and out."""
    table = IntakeTable(queries.intakes(person_of(request)))
    paged(request, table)
    return render(request, "exchange/intakes.html", {"table": table, "kinds": list(Intake.Kind)})


@guard(May.IMPORT_RECORDS)
def new(request: HttpRequest) -> HttpResponse:
    """Send a file in."""
    given = request.GET.get("kind", "")
    form = SendForm(request.POST or None, request.FILES or None, initial={"kind": given})
    if request.method == "POST" and form.is_valid():
        try:
            intake = actions.send(form.sending(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            return redirect("exchange:intake", intake.pk)
    return render(request, "exchange/new.html", {"form": form, "above": above(), "before": _BEFORE})


def above() -> list[tuple[str, str]]:
    """The way up from a page of this room."""
    return [("Records in", reverse("exchange:intakes"))]


def _kind(code: str) -> Kind:
    try:
        return kind_of(code)
    except BadValueError as error:
        raise Http404(str(error)) from error


@guard(May.IMPORT_RECORDS)
@require_safe
def columns(request: HttpRequest, kind: str) -> HttpResponse:
    """What each column of a kind of file means."""
    found = _kind(kind)
    context = {"kind": found, "words": Intake.Kind(found.code).label, "above": above(), "others": list(Intake.Kind)}
    return render(request, "exchange/columns.html", context)


@guard(May.IMPORT_RECORDS)
@require_safe
def template(_request: HttpRequest, kind: str) -> HttpResponseBase:
    """The header and two invented rows as a file."""
    found = _kind(kind)
    return csv_out.answer(f"template-{found.code}", names(found), list(zip(*_examples(found), strict=True)))


def names(kind: Kind) -> list[str]:
    """The header of a kind of file."""
    return [column.name for column in kind.columns]


def _examples(kind: Kind) -> Sequence[tuple[str, str]]:
    return [column.examples for column in kind.columns]


@guard(May.IMPORT_RECORDS)
@require_safe
def export(request: HttpRequest, kind: str) -> HttpResponseBase:
    """Everything of one kind within the person's places, in the columns that are taken in."""
    found = _kind(kind)
    rows = found.rows(Scope(person_of(request)))
    return csv_out.answer(f"{found.code}-{clock.today().isoformat()}", names(found), rows)
