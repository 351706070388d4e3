"""One library: its versions, what places require, releasing, requiring and withdrawing."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.libraries import actions, queries
from fleet.libraries.forms import LibraryForm, ReleaseForm, RequireForm, WithdrawForm
from fleet.libraries.models import Library, LibraryVersion
from fleet.people.queries import acting, person_of
from fleet.web import clock, phrases
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard


@guard(May.SEE_FLEET)
@require_safe
def library(request: HttpRequest, code: str) -> HttpResponse:
    """The versions of a library and where they are required."""
    return _page(request, get_object_or_404(Library, code=code), {})


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Add a library."""
    form = LibraryForm(request.POST or None)
    if form.is_valid():
        try:
            row = actions.add_library(form.cleaned_data["name"], form.cleaned_data["code"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            return redirect("libraries:library", code=row.code)
    return render(request, "libraries/new.html", {"form": form, "above": _above()})


@guard(May.SEE_FLEET)
@require_POST
def release(request: HttpRequest, code: str) -> HttpResponse:
    """Add a version."""
    demand(request, May.EDIT_REGISTRY)
    row = get_object_or_404(Library, code=code)

    def act(typed: dict[str, Any]) -> str:
        version = actions.release(row, typed["number"], typed["released_on"], note=typed["note"], by=acting(request))
        return f"{version} is on record. No place requires it yet."

    return _post(request, row, "release", ReleaseForm(request.POST, prefix="release"), act)


@guard(May.SEE_FLEET)
@require_POST
def require(request: HttpRequest, code: str) -> HttpResponse:
    """Require a version at a place."""
    demand(request, May.EDIT_REGISTRY)
    row = get_object_or_404(Library, code=code)
    form = RequireForm(request.POST, prefix="require", person=person_of(request), library=row)

    def act(typed: dict[str, Any]) -> str:
        needed = actions.require(typed["place"], typed["version"], typed["from_day"], by=acting(request))
        return f"{needed.place} requires {needed.version} from {phrases.day(needed.from_day)}."

    return _post(request, row, "require", form, act)


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a version back."""
    version = get_object_or_404(LibraryVersion.objects.select_related("library"), pk=pk)
    form = WithdrawForm(request.POST or None, initial={"on": clock.today()})
    if form.is_valid():
        try:
            typed = form.cleaned_data
            actions.withdraw(version, on=typed["on"], why=typed["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{version} is withdrawn. Drivers that carry it count as behind.")
            return redirect("libraries:library", code=version.library.code)
    above = [*_above(), (version.library.name, reverse("libraries:library", args=[version.library.code]))]
    return render(request, "libraries/withdraw.html", {"form": form, "version": version, "above": above})


def _post(
    request: HttpRequest, row: Library, name: str, form: forms.Form, act: Callable[[dict[str, Any]], str]
) -> HttpResponse:
    if form.is_valid():
        try:
            words = act(form.cleaned_data)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect("libraries:library", code=row.code)
    return _page(request, row, {name: form})


def _page(request: HttpRequest, row: Library, sent: dict[str, forms.Form]) -> HttpResponse:
    person = person_of(request)
    today = clock.today()
    offered: dict[str, forms.Form] = {
        "release": ReleaseForm(prefix="release", initial={"released_on": today}),
        "require": RequireForm(prefix="require", initial={"from_day": today}, person=person, library=row),
    }
    context = {
        "library": row,
        "versions": queries.versions(person).filter(library=row),
        "requirements": queries.requirements(row, person),
        "today": today,
        "forms": {**offered, **sent} if person.may(May.EDIT_REGISTRY) else {},
        "above": _above(),
    }
    return render(request, "libraries/library.html", context)


def _above() -> list[tuple[str, str]]:
    return [("Library coverage", reverse("libraries:coverage"))]
