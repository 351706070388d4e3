"""Loans as lists: what is out, late or back, and what a ward has."""

from typing import Final

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.accessories.queries import missing
from fleet.core.permissions import May
from fleet.loans import queries
from fleet.loans.forms import SearchForm
from fleet.people.queries import person_of
from fleet.registry.queries import ward_places
from fleet.registry.views.tabs import Tab
from fleet.web import clock
from fleet.web.guards import guard

PER_PAGE = 25
_VIEWS: Final = {"": ("Out", queries.out), "late": ("Late", queries.late), "back": ("Back", queries.back)}


@guard(May.HAND_OVER)
@require_safe
def loans(request: HttpRequest) -> HttpResponse:
    """The loans: out now, late, or back."""
    form, person = SearchForm(request.GET), person_of(request)
    which = request.GET.get("show", "")
    which = which if which in _VIEWS else ""
    words = form.cleaned_data["q"].strip() if form.is_valid() else ""
    every = queries.loans(person)
    rows = _VIEWS[which][1](queries.named(every, words) if words else every)
    counts = {"": queries.out(every).count(), "late": queries.late(every).count()}
    shown = {
        "form": form,
        "words": words,
        "which": which,
        "page": Paginator(rows, PER_PAGE).get_page(request.GET.get("page")),
        "tabs": [Tab(label, f"?show={key}", key == which, counts.get(key)) for key, (label, _) in _VIEWS.items()],
        "ready": queries.to_lend(person).count(),
        "today": clock.today(),
    }
    return render(request, "loans/loans.html", shown)


@guard(May.REPORT_FAULT)
@require_safe
def ours(request: HttpRequest) -> HttpResponse:
    """What is lent to the person's wards, when it is to go back, and what is missing there."""
    person = person_of(request)
    lacking = missing().within(person)
    if not person.everywhere:
        lacking = lacking.filter(place__in=ward_places(person))
    page = Paginator(queries.to_wards_of(person), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "loans/ours.html", {"page": page, "missing": lacking[:PER_PAGE], "today": clock.today()})
