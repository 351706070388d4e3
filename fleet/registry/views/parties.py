"""Makers, suppliers and service providers: the list, adding one, changing what is kept of it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting
from fleet.registry import actions, queries
from fleet.registry.forms import PartyForm
from fleet.registry.models import Party
from fleet.registry.views.tabs import above, tabs
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard

ROWS = 50


@guard(May.SEE_FLEET)
@require_safe
def parties(request: HttpRequest) -> HttpResponse:
    """Everybody who makes, sells or services drivers, with how to reach them."""
    rows = Paginator(queries.parties(), ROWS).get_page(request.GET.get("page"))
    return render(request, "registry/parties.html", {"rows": rows, "tabs": tabs("parties")})


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Add a company."""
    demand(request, May.EDIT_REGISTRY)
    form = PartyForm(request.POST or None)
    if form.is_valid():
        try:
            row = actions.add_party(**form.changes(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is added.")
            return redirect("registry:parties")
    return _page(request, form, "Add a company")


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One company; whoever keeps the register changes it here."""
    row = get_object_or_404(Party, pk=pk)
    form = PartyForm(request.POST or None, instance=row)
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid() and _saved(request, row, form):
            messages.success(request, f"{form.cleaned_data['name']} is saved.")
            return redirect("registry:parties")
    return _page(request, form, row.name, row)


def _saved(request: HttpRequest, row: Party, form: PartyForm) -> bool:
    changes = {name: value for name, value in form.changes().items() if name != "code" or value}
    return (
        form.saved(lambda: actions.edit_party(row, changes, opened=form.cleaned_data["opened"], by=acting(request)))
        is not None
    )


def _page(request: HttpRequest, form: PartyForm, here: str, row: Party | None = None) -> HttpResponse:
    may_edit = request.user.has_perm(f"fleet.{May.EDIT_REGISTRY.value}")
    context = {"form": form, "party": row, "here": here, "above": above("parties"), "may_edit": may_edit}
    return render(request, "registry/party.html", context)
