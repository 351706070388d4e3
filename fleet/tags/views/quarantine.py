"""Open quarantines, and one with its custody record: hand over, note the incident number, lift."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.tags import actions, queries
from fleet.tags.forms import AwareForm, CustodyForm, IncidentForm, LiftForm
from fleet.tags.models import Quarantine
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard


@guard(May.LIFT_QUARANTINE, May.WORK_ON_BENCH)
@require_safe
def quarantines(request: HttpRequest) -> HttpResponse:
    """List what is kept as it is, longest first, and what was lifted lately."""
    person = person_of(request)
    page = {
        "rows": queries.open_quarantines(person),
        "lifted": queries.lately_lifted(person),
        "today": clock.today(),
    }
    return render(request, "tags/quarantines.html", page)


@guard(May.LIFT_QUARANTINE, May.WORK_ON_BENCH)
@require_safe
def quarantine(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one quarantine with its custody record."""
    return _page(request, fetch(queries.quarantines(), request, pk=pk))


@guard(May.WORK_ON_BENCH)
@require_POST
def custody(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a line to the custody record."""
    row, form = fetch(queries.quarantines(), request, pk=pk), CustodyForm(request.POST)

    def add() -> None:
        actions.add_custody(row, form.custody(), by=acting(request))

    return _done(request, row, {"custody": form}, add, "Added to the custody record.")


@guard(May.LIFT_QUARANTINE, May.WORK_ON_BENCH)
@require_POST
def incident(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the local incident number."""
    row, form = fetch(queries.quarantines(), request, pk=pk), IncidentForm(request.POST)

    def note() -> None:
        actions.note_incident(row, form.cleaned_data["incident_reference"], by=acting(request))

    return _done(request, row, {"incident": form}, note, "Incident number noted.")


@guard(May.LIFT_QUARANTINE)
@require_POST
def aware(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct the day the hospital became aware."""
    row, form = fetch(queries.quarantines(), request, pk=pk), AwareForm(request.POST, prefix="aware")

    def correct() -> None:
        actions.correct_awareness(row, form.cleaned_data["aware_on"], why=form.cleaned_data["why"], by=acting(request))

    return _done(request, row, {"aware": form}, correct, "The day is corrected. The one before stays in the history.")


@guard(May.LIFT_QUARANTINE)
@require_POST
def lift(request: HttpRequest, pk: int) -> HttpResponse:
    """End a quarantine with a reason."""
    row, form = fetch(queries.quarantines(), request, pk=pk), LiftForm(request.POST)

    def end() -> None:
        actions.lift_quarantine(row, why=form.cleaned_data["why"], by=acting(request))

    words = "Quarantine lifted. The driver stays out of use until the bench returns it."
    return _done(request, row, {"lift": form}, end, words)


def _done(
    request: HttpRequest, row: Quarantine, bound: dict[str, forms.Form], act: Callable[[], None], words: str
) -> HttpResponse:
    """Act on the one form of `bound` and say so, or show the page again with what is wrong beside it."""
    (form,) = bound.values()
    if form.is_valid():
        try:
            act()
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect("tags:quarantine", row.pk)
    return _page(request, row, **bound)


def _page(request: HttpRequest, row: Quarantine, **bound: forms.Form) -> HttpResponse:
    fresh: dict[str, Any] = {
        "custody": CustodyForm(initial={"given_by": row.holder}),
        "incident": IncidentForm(initial={"incident_reference": row.incident_reference}),
        "aware": AwareForm(prefix="aware", initial={"aware_on": row.aware_on}),
        "lift": LiftForm(),
    }
    page = {
        "row": row,
        "entries": row.custody.all(),
        "days_aware": (clock.today() - row.aware_on).days,
        "may_lift": person_of(request).may(May.LIFT_QUARANTINE),
        **fresh,
        **bound,
    }
    return render(request, "tags/quarantine.html", page)
