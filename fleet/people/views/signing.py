"""Signing in and out. Failures are counted by django-axes, which locks the pair of name and address for a while.

Whoever has a second factor is signed in by its code and not before; whoever must have one and has none, by turning it
on.
"""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from fleet.core.errors import BenchwardError
from fleet.people import actions, doorstep, queries
from fleet.people.access import Kind, named, note
from fleet.people.doorstep import Waiting
from fleet.people.forms import CodeForm, ConfirmForm, RecoveryForm, SignInForm
from fleet.people.models import Person
from fleet.people.proof import LockedOutError, prove_code
from fleet.people.queries import actor_for
from fleet.people.secret import drawn
from fleet.web.forms import put_beside
from fleet.web.guards import public

_FEW_CODES = 3


class _SignIn(LoginView):
    """Django's own, with a line in the log for each try, and a stop at the door for the second factor."""

    template_name = "registration/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in, or ask for the rest."""
        person = form.get_user()
        if queries.factor_of(person):
            doorstep.wait(self.request, person, self.get_success_url())
            return redirect("sign-in-code")
        if queries.must_have_factor(person):
            doorstep.wait(self.request, person, self.get_success_url())
            actions.begin_factor(person, by=actor_for(person))
            return redirect("sign-in-factor")
        note(self.request, Kind.SIGNED_IN, person)
        return super().form_valid(form)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Say no."""
        note(self.request, Kind.FAILED, named(self.request.POST.get("username", "")))
        return super().form_invalid(form)


class _SignOut(LogoutView):
    """Django's own, with a line in the log."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Sign out."""
        if isinstance(request.user, Person):
            note(request, Kind.SIGNED_OUT, request.user)
        return super().post(request, *args, **kwargs)


sign_in = public(reason="whoever has an account signs in here")(_SignIn.as_view())

sign_out = public(reason="signing out must work whatever the session still holds")(_SignOut.as_view())


@public(reason="whose password was right a moment ago, and nobody else, is asked for the code here")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def code(request: HttpRequest) -> HttpResponse:
    """Ask for the code that the app shows."""
    return _asked(request, CodeForm(request.POST or None), {})


@public(reason="the same, for whoever has no app at hand")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def recovery(request: HttpRequest) -> HttpResponse:
    """Ask for a recovery code instead."""
    return _asked(request, RecoveryForm(request.POST or None), {"recovery": True})


def _asked(request: HttpRequest, form: CodeForm, shown: dict[str, Any]) -> HttpResponse:
    who = doorstep.waiting(request)
    if who is None or queries.factor_of(who.person) is None:
        return _from_the_beginning(request)
    if request.method == "POST" and form.is_valid():
        try:
            taken = prove_code(request, who.person, form.cleaned_data["code"])
        except LockedOutError:
            doorstep.leave(request)
            return render(request, "registration/locked.html", status=HTTPStatus.TOO_MANY_REQUESTS)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            doorstep.enter(request, who)
            _tell_of_codes(request, who.person, taken)
            return redirect(who.goes_to)
    return render(request, "registration/code.html", {"form": form, "person": who.person, **shown})


def _tell_of_codes(request: HttpRequest, person: Person, taken: actions.Taken) -> None:
    left = queries.codes_left(person)
    if taken is actions.Taken.RECOVERY:
        way = "Lost the phone? Turn the second factor off under “Your account”, and on again with another phone."
        messages.warning(request, f"That recovery code is used up; {left or 'none'} left. {way}")
    elif left < _FEW_CODES:
        messages.warning(request, f"You have {left or 'no'} recovery codes left. Make new ones under “Your account”.")


@public(reason="whose password was right a moment ago and who must have a second factor turns it on here")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def factor(request: HttpRequest) -> HttpResponse:
    """Lead whoever must have a second factor through turning it on; then they are signed in."""
    who = doorstep.waiting(request)
    begun = queries.factor_in_the_making(who.person) if who else None
    if who is None or begun is None or queries.factor_of(who.person):
        return _from_the_beginning(request)
    form = ConfirmForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        codes = _turned_on(request, who, form)
        if codes:
            shown = {"codes": codes, "person": who.person, "goes_to": who.goes_to, "layout": "plain.html"}
            return render(request, "people/codes.html", shown)
    return render(request, "registration/factor.html", {"form": form, "person": who.person, "secret": drawn(begun)})


def _turned_on(request: HttpRequest, who: Waiting, form: Form) -> list[str]:
    try:
        codes = actions.turn_on_factor(who.person, form.cleaned_data["code"], by=actor_for(who.person))
    except BenchwardError as error:
        put_beside(form, error)
        return []
    note(request, Kind.FACTOR_ON, who.person)
    doorstep.enter(request, who)
    return codes


def _from_the_beginning(request: HttpRequest) -> HttpResponse:
    """Nobody stands at the door, or too long: ask for the password, unless it was all given already."""
    if not request.user.is_authenticated:
        doorstep.leave(request)
    return redirect("sign-in")


@public(reason="says that signing out worked, to somebody who is no longer signed in")
@require_safe
def signed_out(request: HttpRequest) -> HttpResponse:
    """Confirm that the session is over."""
    return render(request, "registration/signed_out.html")
