"""Retiring a driver, completing its record with disposal and wiping, taking it back the same day; the ways to do so."""

from collections.abc import Callable
from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from fleet.bench import actions, queries
from fleet.bench.actions import Kept
from fleet.bench.models import OrderKind, Retirement, RetirementMethod
from fleet.bench.queries.retiring import not_wiped, proposed, retirement_of, retirements_named, wiped_by_order
from fleet.bench.queries.retiring import retirements as seen
from fleet.bench.retire_forms import DisposalForm, MethodForm, PartRows, RetireForm, SearchForm, WhyForm
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.proof import prove
from fleet.people.queries import acting, person_of
from fleet.registry.queries import devices
from fleet.tags.queries import open_tag
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

PER_PAGE = 25
REFUSED = 422
_METHOD_ACTS: Final[dict[str, Callable[..., RetirementMethod]]] = {
    "verify": actions.verify_retirement_method,
    "drop": actions.drop_retirement_method,
}


@guard(May.RETIRE_DEVICE)
def retire(request: HttpRequest, asset: str) -> HttpResponse:
    """Retire a driver: what it answers is said before; a reason, and the password of whoever authorises it."""
    device = fetch(devices(), request, asset_number=asset)
    if device.condition == Condition.RETIRED:
        held = retirement_of(device)
        return redirect("bench:retirement", held.pk) if held else redirect("reports:device", asset)
    form = RetireForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            prove(request, given["password"])
            actions.retire(device, why=given["words"], reason=given["reason"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{device} is retired. Now complete its record: disposal and wiping.")
            return redirect("bench:retirement", Retirement.objects.get(device=device, taken_back_at=None).pk)
    above = [(str(device), reverse("reports:device", args=[asset]))]
    orders = queries.open_orders(device)
    working = orders.filter(kind=OrderKind.RETIREMENT).first()
    facts = {"device": device, "orders": orders, "working": working, "tag": open_tag(device)}
    shown = {**facts, "form": form, "above": above}
    return render(request, "bench/retire.html", shown, status=REFUSED if form.errors else 200)


@guard(May.SEE_FLEET)
@require_safe
def retirements(request: HttpRequest) -> HttpResponse:
    """The retired drivers; those whose record is not complete come first."""
    form = SearchForm(request.GET)
    rows = seen(person_of(request))
    words = form.cleaned_data["q"].strip() if form.is_valid() else ""
    if words:
        rows = retirements_named(rows, words)
    shown = {
        "form": form,
        "words": words,
        "open": not_wiped(rows)[:PER_PAGE],
        "page": Paginator(rows.exclude(stated_at=None, taken_back_at=None), PER_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "bench/retirements.html", shown)


@guard(May.SEE_FLEET)
def retirement(request: HttpRequest, pk: int) -> HttpResponse:
    """One record; completed once, read-only afterwards."""
    row = fetch(seen(person_of(request)), request, pk=pk)
    form = DisposalForm(request.POST or None, initial=proposed(row))
    parts = PartRows(request.POST or None, prefix="parts")
    if request.method == "POST":
        demand(request, May.WORK_ON_BENCH)
        if all([form.is_valid(), parts.is_valid()]):
            try:
                actions.state_disposal(row, form.given(_kept(parts.cleaned_data)), by=acting(request))
            except BenchwardError as error:
                put_beside(form, error)
            else:
                messages.success(request, "The record is complete.")
                return redirect("bench:retirement", row.pk)
    return _record(request, row, form, parts, WhyForm())


def _kept(rows: list[dict[str, Any]]) -> list[Kept]:
    return [Kept(**row) for row in rows if row.get("name")]


def _record(request: HttpRequest, row: Retirement, form: DisposalForm, parts: Any, why: WhyForm) -> HttpResponse:
    today = clock.local_day(row.retired_at) == clock.today()
    shown = {
        "row": row,
        "device": row.device,
        "form": form,
        "parts": parts,
        "why": why,
        "wiped": None if row.stated_at else wiped_by_order(row),
        "complete": bool(row.stated_at or row.taken_back_at),
        "may_take_back": today and row.taken_back_at is None and person_of(request).may(May.RETIRE_DEVICE),
        "above": [("Retired", reverse("bench:retirements"))],
    }
    status = REFUSED if form.errors or why.errors else 200
    return render(request, "bench/retirement.html", shown, status=status)


@guard(May.RETIRE_DEVICE)
@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back a retirement of today with a reason."""
    row = fetch(seen(person_of(request)), request, pk=pk)
    why = WhyForm(request.POST)
    if why.is_valid():
        try:
            actions.take_back_retirement(row.device, why=why.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(why, error)
        else:
            messages.success(request, f"{row.device} waits for acceptance: only that returns it to service.")
            return redirect("reports:device", row.device.asset_number)
    return _record(request, row, DisposalForm(initial=proposed(row)), PartRows(prefix="parts"), why)


@guard(May.SEE_FLEET)
def methods(request: HttpRequest) -> HttpResponse:
    """The ways to dispose of drivers and to wipe them: reference data with its source."""
    form = MethodForm(request.POST or None)
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid():
            given = dict(form.cleaned_data)
            kind = RetirementMethod.Kind(given.pop("kind"))
            try:
                actions.add_retirement_method(kind, given.pop("words"), **given, by=acting(request))
            except BenchwardError as error:
                put_beside(form, error)
            else:
                return redirect("bench:retirement_methods")
    rows = RetirementMethod.objects.filter(dropped_at=None)
    groups = [(kind.label, [row for row in rows if row.kind == kind.value]) for kind in RetirementMethod.Kind]
    shown = {"groups": groups, "form": form, "above": [("Retired", reverse("bench:retirements"))]}
    return render(request, "bench/retirement_methods.html", shown, status=REFUSED if form.errors else 200)


@guard(May.SEE_FLEET)
@require_POST
def method_act(request: HttpRequest, pk: int, verb: str) -> HttpResponse:
    """Verify a way against its source, or take it off the list."""
    demand(request, May.EDIT_REGISTRY)
    act = _METHOD_ACTS.get(verb)
    if act is None:
        raise Http404
    act(get_object_or_404(RetirementMethod, pk=pk), by=acting(request))
    return redirect("bench:retirement_methods")
