"""One file: what its check found, committing it, reading it another way."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.exchange import actions, queries
from fleet.exchange.forms import ChoicesForm, choices_of
from fleet.exchange.models import Intake
from fleet.exchange.reading import DELIMITERS, ENCODINGS
from fleet.exchange.tables import state_mark
from fleet.exchange.views.lists import above
from fleet.exchange.wording import committed, committing
from fleet.jobs.models import Job
from fleet.people.queries import acting
from fleet.web import clock, csv_out
from fleet.web.guards import fetch, guard

#: Rows of a list that the page shows; the rest is in the file of refused rows.
SHOWN = 500


def _fetched(request: HttpRequest, pk: int) -> Intake:
    rows = Intake.objects.select_related("sent_by").defer("content", "verdicts")
    return fetch(rows, request, pk=pk)


@guard(May.IMPORT_RECORDS)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """How a file stands, and what can be done with it."""
    intake = _fetched(request, pk)
    return render(request, "exchange/intake.html", _context(intake, ChoicesForm(initial=choices_of(intake))))


def _context(intake: Intake, form: ChoicesForm) -> dict[str, Any]:
    return {
        "intake": intake,
        "form": form,
        "above": above(),
        "mark": state_mark(intake),
        "how_read": _how_read(intake),
        "refusals": intake.refusals[:SHOWN],
        "changes": intake.changes[:SHOWN],
        "shown": SHOWN,
        "will": committing(intake),
        "did": committed(intake),
        "rows_url": reverse(queries.kind_of_file(intake).page),
        "twin": queries.sent_before(intake) if intake.state == Intake.State.READY else None,
        "may_check_again": queries.may_check_again(intake),
        **_job_context(intake),
    }


def _job_context(intake: Intake) -> dict[str, Any]:
    active = intake.state in queries.ACTIVE
    job = queries.job_of(intake) if active else None
    waiting = job is not None and job.state == Job.State.QUEUED
    return {
        "active": active,
        "job": job,
        "late": waiting and job is not None and clock.now() - job.created_at > queries.PATIENCE,
    }


def _how_read(intake: Intake) -> str:
    orders = {None: "no dates in digits", True: "day first", False: "month first"}
    parts = [
        ENCODINGS.get(intake.encoding, intake.encoding.upper()),
        DELIMITERS.get(intake.delimiter, "").casefold(),
        orders[intake.day_first],
        "decimal comma" if intake.decimal_comma else "decimal point",
    ]
    return ", ".join(part for part in parts if part)


@guard(May.IMPORT_RECORDS)
@require_safe
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that renews itself while a job works on the file; the whole page at its end."""
    intake = _fetched(request, pk)
    if intake.state not in queries.ACTIVE:
        return HttpResponseClientRefresh()
    return render(request, "exchange/progress.html", {"intake": intake, **_job_context(intake)})


@guard(May.IMPORT_RECORDS)
@require_POST
def commit(request: HttpRequest, pk: int) -> HttpResponse:
    """Have the file committed."""
    intake = _fetched(request, pk)
    try:
        actions.ask_commit(intake, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    return redirect("exchange:intake", pk)


@guard(May.IMPORT_RECORDS)
@require_POST
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Check the file again, as it is read now or another way."""
    intake = _fetched(request, pk)
    form = ChoicesForm(request.POST)
    if not form.is_valid():
        return render(request, "exchange/intake.html", _context(intake, form))
    try:
        actions.check_again(intake, form.choices(), by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    return redirect("exchange:intake", pk)


@guard(May.IMPORT_RECORDS)
@require_safe
def refusals(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Every refused row as a file."""
    intake = _fetched(request, pk)
    header = ("row", "column", "value", "what would be right")
    return csv_out.answer(f"refused-{pk}", header, intake.refusals)


@guard(May.IMPORT_RECORDS)
@require_safe
def file(request: HttpRequest, pk: int) -> HttpResponse:
    """The file as it was sent; the browser saves it and never shows it."""
    intake = fetch(Intake.objects.all(), request, pk=pk)
    response = HttpResponse(bytes(intake.content), content_type="application/octet-stream")
    stamp = timezone.localtime(intake.sent_at).date().isoformat()
    response["Content-Disposition"] = f'attachment; filename="sent-{stamp}-{intake.kind}-{intake.pk}.csv"'
    return response
