"""What is done to stock: a delivery received, a place counted, some of it moved or scrapped, a purchase called off."""

from collections.abc import Callable
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from fleet.audit.actors import Actor
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.registry.models import Place
from fleet.stores import actions, queries
from fleet.stores.forms import CountForm, DeliveryForm, MoveForm, ScrapForm, WhyForm
from fleet.stores.models import Stock
from fleet.stores.views.parts import REFUSED, above, show
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard


@guard(May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def delivery(request: HttpRequest) -> HttpResponse:
    """Receive a delivery, line by line; what is on order counts as come."""
    person = person_of(request)
    form = DeliveryForm(request.POST or None, person=person, initial={"part_0": request.GET.get("part", "")})
    if form.is_valid():
        typed = form.cleaned_data
        try:
            moved = actions.receive(typed["place"], form.delivered, reference=typed["reference"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            many = sum(each.change for each in moved)
            messages.success(request, f"{many} part{'' if many == 1 else 's'} received at {typed['place']}.")
            return redirect(f"{reverse('stores:parts')}?place={typed['place'].pk}")
    context = {
        "form": form,
        "above": above(),
        "purchases": queries.open_purchases().within(person),
        "today": clock.today(),
    }
    return render(request, "stores/delivery.html", context, status=REFUSED if form.errors else 200)


@guard(May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def count(request: HttpRequest) -> HttpResponse:
    """The count sheet of a place, to print and to enter."""
    person = person_of(request)
    places = queries.places_with_parts().within(person)
    asked = request.GET.get("place", "")
    place = places.filter(pk=asked).first() if asked.isdecimal() else None
    context: dict[str, Any] = {"above": above(), "places": places, "place": place, "today": clock.today()}
    if place is None:
        return render(request, "stores/count.html", context)
    form = CountForm(request.POST or None, stocks=queries.countable(place))
    if form.is_valid() and _counted(request, form, place):
        return redirect(f"{reverse('stores:count')}?place={place.pk}")
    context |= {"form": form, "lines": form.lines()}
    return render(request, "stores/count.html", context, status=REFUSED if form.errors else 200)


def _counted(request: HttpRequest, form: CountForm, place: Place) -> bool:
    found = form.found()
    if not found:
        form.add_error(None, "Enter at least one count; what is left empty was not counted.")
        return False
    try:
        moved = actions.count(found, form.cleaned_data["why"], by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    differ = [each for each in moved if each.change]
    told = ", ".join(f"{each.change:+d} {each.stock.shelf.part.name}" for each in differ) or "no difference"
    messages.success(request, f"{len(moved)} of {place} counted: {told}.")
    return True


def _move(row: Stock, typed: dict[str, Any], by: Actor) -> str:
    actions.move(row, typed["place"], typed["quantity"], by=by)
    return f"{typed['quantity']} moved to {typed['place']}."


def _scrap(row: Stock, typed: dict[str, Any], by: Actor) -> str:
    actions.scrap(row, typed["quantity"], typed["why"], by=by)
    return f"{typed['quantity']} scrapped."


def _move_form(data: Any, person: Person) -> forms.Form:
    return MoveForm(data, person=person, prefix="move")


def _scrap_form(data: Any, _person: Person) -> forms.Form:
    return ScrapForm(data, prefix="scrap")


ACTS: Final[dict[str, tuple[Callable[[Any, Person], forms.Form], Callable[[Stock, dict[str, Any], Actor], str]]]] = {
    "move": (_move_form, _move),
    "scrap": (_scrap_form, _scrap),
}


@guard(May.KEEP_STORE)
@require_POST
def act(request: HttpRequest, pk: int, verb: str) -> HttpResponse:
    """Move or scrap some of a stock; a refusal stands beside what was typed."""
    if verb not in ACTS:
        raise Http404(verb)
    row = fetch(queries.stocks(), request, pk=pk)
    make, do = ACTS[verb]
    form = make(request.POST, person_of(request))
    if form.is_valid():
        try:
            messages.success(request, do(row, form.cleaned_data, acting(request)))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            return redirect("stores:part", row.shelf.part_id)
    return show(request, row.shelf.part, bound={verb: form}, stock=row.pk)


@guard(May.KEEP_STORE)
@require_POST
def call_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Expect a purchase no more."""
    row = fetch(queries.open_purchases(), request, pk=pk)
    form = WhyForm(request.POST, prefix="call_off")
    if form.is_valid():
        try:
            actions.call_off(row, form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, "It is expected no more.")
            return redirect("stores:part", row.part_id)
    return show(request, row.part, bound={"call_off": form}, stock=row.pk)
