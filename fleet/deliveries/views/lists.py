"""The list of deliveries, and beginning or correcting one."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.deliveries import actions, queries
from fleet.deliveries.forms import DeliveryForm, SearchForm
from fleet.people.queries import acting, person_of
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

PER_PAGE = 25
REFUSED = 422


@guard(May.HAND_OVER)
@require_safe
def deliveries(request: HttpRequest) -> HttpResponse:
    """Deliveries, the open ones first to go on with, the others as records."""
    form = SearchForm(request.GET)
    rows = queries.deliveries(person_of(request))
    words = form.cleaned_data["q"].strip() if form.is_valid() else ""
    if words:
        rows = queries.found(rows, words)
    waiting = rows.filter(finished_at=None, dropped_at=None)
    past = Paginator(rows.exclude(pk__in=waiting.values("pk")), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "deliveries/deliveries.html", {"form": form, "words": words, "open": waiting, "past": past})


@guard(May.HAND_OVER)
def new(request: HttpRequest) -> HttpResponse:
    """Begin a delivery with what its papers say; then it is scanned."""
    form = DeliveryForm(request.POST or None, person=person_of(request))
    if request.method == "POST" and form.is_valid():
        try:
            return redirect("deliveries:one", actions.begin(form.cleaned_data, by=acting(request)).pk)
        except BenchwardError as error:
            put_beside(form, error)
    shown = {"form": form, "above": _above(), "here": "Begin a delivery", "button": "Go on to scanning"}
    return render(request, "deliveries/facts.html", shown, status=REFUSED if form.errors else 200)


@guard(May.HAND_OVER)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct what is stated of an open delivery."""
    row = fetch(queries.deliveries(person_of(request)), request, pk=pk)
    if not row.is_open:
        return redirect("deliveries:one", row.pk)
    form = DeliveryForm(request.POST or None, instance=row, person=person_of(request))
    if request.method == "POST" and form.is_valid():
        try:
            actions.correct(row, form.cleaned_data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is corrected.")
            return redirect("deliveries:one", row.pk)
    above = [*_above(), (str(row), reverse("deliveries:one", args=[row.pk]))]
    shown = {"form": form, "above": above, "here": "Correct", "button": "Save"}
    return render(request, "deliveries/facts.html", shown, status=REFUSED if form.errors else 200)


def _above() -> list[tuple[str, str]]:
    return [("New drivers", reverse("deliveries:deliveries"))]
