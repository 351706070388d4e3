"""Everybody who signs in: who they are, what they may do, where.

These pages know no places: whoever manages people does so for all sites.
"""

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.people import actions, queries
from fleet.people.access import Kind, note
from fleet.people.actions import NewPerson, PersonFacts
from fleet.people.forms import NewPersonForm, PasswordForm, PersonForm, RemoveFactorForm
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.people.tables import PersonFilter, PersonTable
from fleet.web.forms import put_beside
from fleet.web.guards import guard
from fleet.web.paging import paged


@guard(May.MANAGE_PEOPLE)
@require_safe
def everybody(request: HttpRequest) -> HttpResponse:
    """Everybody, by name."""
    narrowed = PersonFilter(request.GET, queryset=queries.people())
    table = PersonTable(narrowed.qs)
    paged(request, table)
    return render(request, "people/list.html", {"filter": narrowed, "table": table})


@guard(May.MANAGE_PEOPLE)
def new(request: HttpRequest) -> HttpResponse:
    """Add somebody."""
    form = NewPersonForm(request.POST or None, initial={"role": Role.WARD.value})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        fresh = NewPerson(**{**data, "role": Role(data["role"]), "places": tuple(data["places"])})
        try:
            person = actions.add_person(fresh, by=queries.acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{person} is added and may sign in as {person.username}.")
            return redirect("people:list")
    return render(request, "people/person.html", {"form": form, "above": _above(), "here": "Add somebody"})


@guard(May.MANAGE_PEOPLE)
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """Change somebody's facts, role, places, or whether they may sign in."""
    row = get_object_or_404(queries.people(), pk=pk)
    form = PersonForm(request.POST or None, instance=row, initial={"role": queries.role_of(row)})
    if request.method == "POST" and form.is_valid():
        try:
            opened = form.cleaned_data["opened"]
            actions.update_person(row, _facts(form), by=queries.acting(request), opened=opened)
        except ConflictError as error:
            form.add_error(None, str(error))
            form.show_what_stands(queries.people().get(pk=pk))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{form.cleaned_data['display_name']} is saved.")
            return redirect("people:list")
    return _person(request, row, form=form)


@guard(May.MANAGE_PEOPLE)
@require_POST
def person_password(request: HttpRequest, pk: int) -> HttpResponse:
    """Give somebody who forgot it another password."""
    row = get_object_or_404(queries.people(), pk=pk)
    form = PasswordForm(request.POST, person=row)
    if form.is_valid():
        actions.set_password(row, form.cleaned_data["password"], by=queries.acting(request))
        messages.success(request, f"{row} has another password. Wherever they were signed in, they are signed out.")
        return redirect("people:person", pk=pk)
    return _person(request, row, password_form=form)


@guard(May.MANAGE_PEOPLE)
@require_POST
def person_factor(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove the second factor of somebody who lost it."""
    row = get_object_or_404(queries.people(), pk=pk)
    form = RemoveFactorForm(request.POST)
    if form.is_valid():
        try:
            actions.remove_factor(row, form.cleaned_data["why"], by=queries.acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            note(request, Kind.FACTOR_LOST, row)
            words = "has no second factor any more. Wherever they were signed in, they are signed out."
            messages.success(request, f"{row} {words}")
            return redirect("people:person", pk=pk)
    return _person(request, row, factor_form=form)


def _person(request: HttpRequest, row: Person, **sent: BaseForm) -> HttpResponse:
    """The page of a person, with the one of its forms that was sent and refused."""
    shown = {
        "form": PersonForm(instance=row, initial={"role": queries.role_of(row)}),
        "password_form": PasswordForm(person=row),
        "factor_form": RemoveFactorForm(),
        **sent,
    }
    factor = {"factor": queries.factor_of(row), "left": queries.codes_left(row)}
    return render(request, "people/person.html", {**shown, **factor, "person": row, "above": _above(), "here": row})


def _facts(form: PersonForm) -> PersonFacts:
    data = {name: value for name, value in form.cleaned_data.items() if name != "opened"}
    role, places = Role(data.pop("role")), tuple(data.pop("places"))
    return PersonFacts(role=role, places=places, values=data)


def _above() -> list[tuple[str, str]]:
    return [("People", reverse("people:list"))]
