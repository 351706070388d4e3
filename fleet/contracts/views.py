"""Contracts: their list, one with the drivers it covers, adding, renewing, ending."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.contracts import actions, queries
from fleet.contracts.actions import NewContract
from fleet.contracts.forms import ContractForm, ContractsForm, EndForm
from fleet.contracts.models import Contract
from fleet.contracts.queries import State
from fleet.core.due import add_months
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web import clock, marks
from fleet.web.forms import put_beside
from fleet.web.guards import guard

PER_PAGE: Final = 25
SHOWN: Final = 50
REFUSED: Final = 422
_READ_OR_SEND: Final = ["GET", "HEAD", "POST"]
_SHAPES: Final = {
    State.COMING: "coming", State.RUNNING: "pass", State.SOON: "due", State.LATE: "late", State.OVER: "none",
}  # fmt: skip


def state_mark(row: Contract) -> SafeString:
    """How a contract stands today, as a shape with its word."""
    state = queries.state_of(row, clock.today())
    return marks.mark(_SHAPES[state], state.label)


@guard(May.SEE_REPORTS)
@require_safe
def contracts(request: HttpRequest) -> HttpResponse:
    """The contracts, those that end first on top."""
    person, today, form = person_of(request), clock.today(), ContractsForm(request.GET)
    typed = form.cleaned_data if form.is_valid() else {}
    show = typed.get("show", "")
    rows = queries.to_decide(person, today) if show == "decide" else queries.contracts(person)
    if not show:
        rows = rows.filter(Q(ends_on__gte=today), Q(ended_on__isnull=True) | Q(ended_on__gte=today))
    for word in (typed.get("q") or "").split():
        rows = rows.filter(Q(name__icontains=word) | Q(reference__icontains=word) | Q(party__name__icontains=word))
    if typed.get("company"):
        rows = rows.filter(party=typed["company"])
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    shown = {
        "form": form,
        "page": page,
        "count": page.paginator.count,
        "rows": [(row, state_mark(row)) for row in page],
        "narrowed": bool(form.changed_data),
        "may_edit": person.may(May.EDIT_REGISTRY),
    }
    return render(request, "contracts/contracts.html", shown)


@guard(May.SEE_REPORTS)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One contract: its terms, its days, the drivers it covers."""
    return _show(request, _fetch(request, pk), EndForm())


def _show(request: HttpRequest, row: Contract, form: EndForm) -> HttpResponse:
    person = person_of(request)
    drivers = queries.covered(row, person).select_related("device_type__maker", "home")
    shown = {
        "row": row,
        "state": state_mark(row),
        "over": queries.state_of(row, clock.today()) is State.OVER,
        "renewal": getattr(row, "renewal", None),
        "drivers": drivers[:SHOWN],
        "count": drivers.count(),
        "form": form,
        "may_edit": person.may(May.EDIT_REGISTRY),
        "above": _above(),
    }
    return render(request, "contracts/one.html", shown, status=REFUSED if form.errors else 200)


@guard(May.EDIT_REGISTRY)
@require_http_methods(_READ_OR_SEND)
def new(request: HttpRequest) -> HttpResponse:
    """Add a contract."""
    form = ContractForm(request.POST or None, person=person_of(request))

    def act() -> Contract:
        return actions.add_contract(NewContract(facts=form.changes(), covers=form.covers()), by=acting(request))

    return _edit(request, form, "Add a contract", _above(), act)


@guard(May.EDIT_REGISTRY)
@require_http_methods(_READ_OR_SEND)
def renew(request: HttpRequest, pk: int) -> HttpResponse:
    """Add the contract that goes on where this one ends."""
    row = _fetch(request, pk)
    form = ContractForm(request.POST or None, person=person_of(request), initial=_going_on(row))

    def act() -> Contract:
        new_one = NewContract(facts=form.changes(), covers=form.covers(), renews=row)
        return actions.add_contract(new_one, by=acting(request))

    return _edit(request, form, "Renew", _way_to(row), act)


def _going_on(row: Contract) -> dict[str, Any]:
    """What the next contract begins with: the same, from the day after its last day on."""
    first = row.ends_on + timedelta(days=1)
    kept = {name: getattr(row, name) for name in actions.FACTS if name not in {"begins_on", "ends_on", "reference"}}
    return {
        **kept,
        "begins_on": first,
        "ends_on": add_months(first, 12) - timedelta(days=1),
        "device_types": row.device_types.all(),
        "sites": row.sites.all(),
        "listed": ", ".join(row.devices.values_list("asset_number", flat=True)),
    }


@guard(May.EDIT_REGISTRY)
@require_http_methods(_READ_OR_SEND)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Put right what is kept of a contract."""
    row = _fetch(request, pk)
    form = ContractForm(request.POST or None, person=person_of(request), instance=row)

    def act() -> Contract:
        typed = form.cleaned_data
        given = NewContract(facts=form.changes(), covers=form.covers())
        return actions.edit_contract(row, given, why=typed["why"], opened=typed["opened"], by=acting(request))

    return _edit(request, form, "Edit", _way_to(row), act)


def _edit(
    request: HttpRequest, form: ContractForm, title: str, above: list[tuple[str, str]], act: Callable[[], Contract]
) -> HttpResponse:
    if row := form.saved(act):
        messages.success(request, f"{row} is saved.")
        return redirect("contracts:one", row.pk)
    shown = {"form": form, "title": title, "above": above}
    return render(request, "contracts/edit.html", shown, status=REFUSED if form.errors else 200)


@guard(May.EDIT_REGISTRY)
@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a contract before its last day."""
    row, form = _fetch(request, pk), EndForm(request.POST)
    if form.is_valid():
        try:
            actions.end_contract(row, form.cleaned_data["on"], why=form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} ends early. It stays on record.")
            return redirect("contracts:one", row.pk)
    return _show(request, row, form)


def _fetch(request: HttpRequest, pk: int) -> Contract:
    return get_object_or_404(queries.contracts(person_of(request)), pk=pk)


def _above() -> list[tuple[str, str]]:
    return [("Contracts", reverse("contracts:contracts"))]


def _way_to(row: Contract) -> list[tuple[str, str]]:
    return [*_above(), (row.name, reverse("contracts:one", args=[row.pk]))]
