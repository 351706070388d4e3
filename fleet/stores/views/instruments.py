"""The instruments: their list, one with its calibrations, a new one, a changed one."""

from collections.abc import Callable
from typing import cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.stores import actions, queries
from fleet.stores.forms import CalibrationForm, InstrumentForm, WhyForm
from fleet.stores.models import Calibration, Instrument
from fleet.stores.tables import CSV_HEADER, InstrumentFilter, InstrumentTable, csv_rows, state_mark
from fleet.web import clock, csv_out
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard
from fleet.web.paging import paged, with_values

REFUSED = 422
#: The bench's page of what an instrument found out of its limits was used for.
TRACE = "bench:trace"


@guard(May.WORK_ON_BENCH)
@require_safe
def instruments(request: HttpRequest) -> HttpResponse:
    """Every instrument of the person's places, narrowed as asked; `?as=csv` is the same list as a file."""
    rows = queries.instruments(clock.today()).within(person_of(request))
    narrowed = InstrumentFilter(request.GET, queryset=rows, request=request)
    if request.GET.get("as") == "csv":
        return cast("HttpResponse", csv_out.answer("instruments", CSV_HEADER, csv_rows(narrowed.qs)))
    table = paged(request, InstrumentTable(narrowed.qs))
    context = {
        "filter": narrowed,
        "table": table,
        "count": narrowed.qs.count(),
        "any": rows.exists(),
        "csv": with_values(request.GET, **{"as": "csv"}),
        "may_edit": person_of(request).may(May.EDIT_REGISTRY),
    }
    return render(request, "stores/instruments.html", context)


@guard(May.WORK_ON_BENCH)
@require_safe
def instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """One instrument: its facts, how it stands, every calibration with its certificate."""
    return _show(request, _fetch(request, pk))


@guard(May.WORK_ON_BENCH)
@require_POST
def calibrate(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a calibration; one found out of its limits leads to what was measured with it."""
    row, form = _fetch(request, pk), CalibrationForm(request.POST)
    if form.is_valid():
        try:
            done = actions.record_calibration(row, form.calibration(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"The calibration is on record; the next is due on {done.due_on:%d %b %Y}.")
            if done.as_found == Calibration.AsFound.OUT:
                return redirect(TRACE, done.pk)
            return redirect("stores:instrument", row.pk)
    return _show(request, row, calibrate=form)


@guard(May.WORK_ON_BENCH)
@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the instrument out of use."""
    demand(request, May.EDIT_REGISTRY)
    row, form = _fetch(request, pk), WhyForm(request.POST, prefix="withdraw")

    def act(why: str) -> str:
        return f"{actions.withdraw(row, why, by=acting(request))} is withdrawn."

    return _reasoned(request, row, form, act) or _show(request, row, withdraw=form)


@guard(May.WORK_ON_BENCH)
@require_POST
def void(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a calibration recorded by mistake count no more."""
    row = fetch(queries.instruments(clock.today()), request, calibrations__pk=pk)
    calibration = get_object_or_404(Calibration, pk=pk)
    form = WhyForm(request.POST, prefix="void")

    def act(why: str) -> str:
        actions.void_calibration(calibration, why, by=acting(request))
        return "The calibration counts no more. It stays on record."

    return _reasoned(request, row, form, act) or _show(request, row, void=form)


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def new_instrument(request: HttpRequest) -> HttpResponse:
    """Add an instrument."""
    form = InstrumentForm(request.POST or None, person=person_of(request))
    return _edit(request, form, "Add an instrument", lambda: actions.add_instrument(form.changes(), by=acting(request)))


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an instrument's facts."""
    row = _fetch(request, pk)
    form = InstrumentForm(request.POST or None, instance=row, person=person_of(request))

    def act() -> Instrument:
        typed = form.cleaned_data
        return actions.edit_instrument(
            row, form.changes(), why=typed["why"], opened=typed["opened"], by=acting(request)
        )

    return _edit(request, form, str(row), act)


def _fetch(request: HttpRequest, pk: int) -> Instrument:
    return fetch(queries.instruments(clock.today()), request, pk=pk)


def _reasoned(
    request: HttpRequest, row: Instrument, form: WhyForm, act: Callable[[str], str]
) -> HttpResponseRedirect | None:
    """Do what asks for a reason only; None when it was refused, which then stands in the form."""
    if not form.is_valid():
        return None
    try:
        words = act(form.cleaned_data["why"])
    except BenchwardError as error:
        put_beside(form, error)
        return None
    messages.success(request, words)
    return redirect("stores:instrument", row.pk)


def _show(request: HttpRequest, row: Instrument, **sent: forms.Form) -> HttpResponse:
    person, state = person_of(request), queries.state_of(row, clock.today())
    context = {
        "instrument": row,
        "above": [("Instruments", reverse("stores:instruments"))],
        "state": state_mark(state),
        "calibrations": queries.calibrations_of(row),
        "may_edit": person.may(May.EDIT_REGISTRY),
        "calibrate": sent.get("calibrate") or CalibrationForm(initial={"usable": True}),
        "withdraw": sent.get("withdraw") or WhyForm(prefix="withdraw"),
        "void": sent.get("void") or WhyForm(prefix="void"),
        "sent": next(iter(sent), ""),
    }
    return render(request, "stores/instrument.html", context, status=REFUSED if sent else 200)


def _edit(request: HttpRequest, form: InstrumentForm, title: str, act: Callable[[], Instrument]) -> HttpResponse:
    if row := form.saved(act):
        messages.success(request, f"{row} is saved.")
        return redirect("stores:instrument", row.pk)
    above = [("Instruments", reverse("stores:instruments"))]
    context = {"form": form, "title": title, "above": above, "what": "instrument"}
    return render(request, "stores/edit.html", context)
