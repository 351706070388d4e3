"""Places as a tree with the drivers at home there; adding, changing and closing them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST, require_safe

from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.people.scope import in_tree_order
from fleet.registry import actions, queries
from fleet.registry.forms import NewPlaceForm, PlaceForm, WhyForm
from fleet.registry.models import Place
from fleet.registry.views.tabs import above, tabs
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard


@dataclass(frozen=True, slots=True)
class Row:
    """One place of the tree; for each condition, then for all, its words, a number and the drivers' address."""

    place: Place
    depth: int
    counts: list[tuple[str, int, str]]


@guard(May.SEE_FLEET)
@require_safe
def places(request: HttpRequest) -> HttpResponse:
    """The tree; what is counted lies at home in a place or in those below it."""
    person = person_of(request)
    closed = request.GET.get("closed") == "yes"
    every = Place.objects.select_related("parent") if closed else queries.open_places()
    seen = every.within(person)
    context = {
        "rows": list(_rows(seen, queries.drivers_by_condition(person))),
        "conditions": [condition.label for condition in Condition],
        "closed": closed,
        "tabs": tabs("places"),
    }
    return render(request, "registry/places.html", context)


def _rows(seen: Iterable[Place], totals: dict[int, dict[str, int]]) -> Iterator[Row]:
    for place, depth in in_tree_order(seen):
        held = totals.get(place.pk, {})
        counts = [(each.label, held.get(each.value, 0), _drivers_at(place, condition=each.value)) for each in Condition]
        yield Row(place, depth, [*counts, ("All drivers", sum(held.values()), _drivers_at(place))])


def _drivers_at(place: Place, **narrower: str) -> str:
    return f"{reverse('registry:devices')}?{urlencode({'home': str(place.pk), **narrower})}"


@guard(May.SEE_FLEET)
def new_place(request: HttpRequest) -> HttpResponse:
    """Add a place."""
    demand(request, May.EDIT_REGISTRY)
    form = NewPlaceForm(request.POST or None, person=person_of(request), initial={"parent": request.GET.get("in")})
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            if data["kind"] == Place.Kind.SITE and not person_of(request).everywhere:
                _refuse_unseen_site()
            place = actions.add_place(Place.Kind(data.pop("kind")), **data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{place} is added.")
            return redirect("registry:places")
    return render(request, "registry/place.html", {"form": form, "above": above("places"), "here": "Add a place"})


def _refuse_unseen_site() -> None:
    """A site added by somebody bound to places would lie outside them: they could neither see nor undo it."""
    raise BadValueError(
        "Adding a site needs somebody who sees all places. Choose the site it stands in.", field="parent"
    )


@guard(May.SEE_FLEET)
def place(request: HttpRequest, pk: int) -> HttpResponse:
    """One place: its facts, which may be changed, and closing it."""
    row = fetch(Place.objects.all(), request, pk=pk)
    form = PlaceForm(request.POST or None, instance=row)
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid() and _saved(request, row, form):
            messages.success(request, f"{form.cleaned_data['name']} is saved.")
            return redirect("registry:places")
    return _page(request, row, form, WhyForm())


def _saved(request: HttpRequest, row: Place, form: PlaceForm) -> bool:
    return (
        form.saved(
            lambda: actions.edit_place(row, form.changes(), opened=form.cleaned_data["opened"], by=acting(request))
        )
        is not None
    )


@guard(May.SEE_FLEET)
@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close an open place, or open a closed one again."""
    demand(request, May.EDIT_REGISTRY)
    row = fetch(Place.objects.all(), request, pk=pk)
    act, words = (actions.reopen_place, "open again") if row.closed_on else (actions.close_place, "closed")
    form = WhyForm(request.POST)
    if form.is_valid():
        try:
            act(row, why=form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is {words}.")
            return redirect("registry:places")
    return _page(request, row, PlaceForm(instance=row), form)


def _page(request: HttpRequest, row: Place, form: PlaceForm, why: WhyForm) -> HttpResponse:
    context = {
        "place": row,
        "form": form,
        "why": why,
        "may_edit": request.user.has_perm(f"fleet.{May.EDIT_REGISTRY.value}"),
        "drivers": _drivers_at(row),
        "above": above("places"),
        "here": row,
    }
    return render(request, "registry/place.html", context)
