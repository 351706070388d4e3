"""One's own second factor: turning it on and off, and its recovery codes."""

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from fleet.core.errors import BenchwardError
from fleet.people import actions, queries
from fleet.people.access import Kind, note
from fleet.people.forms import FactorForm, TurnOnForm
from fleet.people.proof import prove_both, prove_for_account
from fleet.people.queries import acting, person_of
from fleet.people.secret import drawn
from fleet.web.forms import put_beside
from fleet.web.guards import signed_in

_ELSEWHERE = "Wherever else you were signed in, you are signed out."


@signed_in
@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Make a secret for an app."""
    try:
        actions.begin_factor(person_of(request), by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
        return redirect("people:account")
    return redirect("people:factor")


@signed_in
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def factor(request: HttpRequest) -> HttpResponse:
    """Show the secret to one's app, and turn the second factor on with a code from it."""
    person = person_of(request)
    begun = queries.factor_in_the_making(person)
    if begun is None:
        return redirect("people:account")
    form = TurnOnForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            prove_for_account(request, form.cleaned_data["password"])
            codes = actions.turn_on_factor(
                person, form.cleaned_data["code"], by=acting(request), but=request.session.session_key
            )
        except BenchwardError as error:
            put_beside(form, error)
        else:
            note(request, Kind.FACTOR_ON, person)
            request.session.cycle_key()
            messages.success(request, f"Your second factor is on. {_ELSEWHERE}")
            return _codes(request, codes)
    shown = {"form": form, "person": person, "secret": drawn(begun), "above": _above()}
    return render(request, "people/factor.html", shown)


@signed_in
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def off(request: HttpRequest) -> HttpResponse:
    """Turn one's second factor off; who must have one goes on by turning it on again."""
    person = person_of(request)
    must = queries.must_have_factor(person)

    def act() -> HttpResponse:
        actions.turn_off_factor(person, by=acting(request), but=request.session.session_key)
        note(request, Kind.FACTOR_OFF, person)
        if must:
            note(request, Kind.SIGNED_OUT, person)
            logout(request)
            messages.info(request, "Your second factor is off. Sign in again to turn it on anew: you must have one.")
            return redirect("sign-in")
        messages.success(request, f"Your second factor is off. {_ELSEWHERE}")
        return redirect("people:account")

    return _proven(request, act, "people/factor_off.html", must=must)


@signed_in
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def codes(request: HttpRequest) -> HttpResponse:
    """Make new recovery codes."""

    def act() -> HttpResponse:
        fresh = actions.renew_codes(person_of(request), by=acting(request))
        note(request, Kind.NEW_CODES, person_of(request))
        return _codes(request, fresh)

    return _proven(request, act, "people/factor_codes.html")


def _proven(request: HttpRequest, act: Callable[[], HttpResponse], template: str, **shown: object) -> HttpResponse:
    """Do what was asked for with password and code; only for who has a second factor."""
    person = person_of(request)
    if queries.factor_of(person) is None:
        return redirect("people:account")
    form = FactorForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            prove_both(request, **form.cleaned_data)
            return act()
        except BenchwardError as error:
            put_beside(form, error)
    left = queries.codes_left(person)
    return render(request, template, {"form": form, "left": left, "above": _above(), **shown})


def _codes(request: HttpRequest, codes: list[str]) -> HttpResponse:
    """The new codes, once: they are part of this answer and of no other."""
    shown = {"codes": codes, "person": person_of(request), "goes_to": reverse("people:account"), "layout": "base.html"}
    return render(request, "people/codes.html", shown)


def _above() -> list[tuple[str, str]]:
    return [("Your account", reverse("people:account"))]
