"""Signing in and out. Failures are counted by django-axes, which locks the pair of name and address for a while."""

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.people.access import Kind, named, note
from fleet.people.forms import SignInForm
from fleet.people.models import Person
from fleet.web.guards import public


class _SignIn(LoginView):
    """Django's own, with a line in the log for each try."""

    template_name = "registration/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in."""
        note(self.request, Kind.SIGNED_IN, form.get_user())
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


@public(reason="says that signing out worked, to somebody who is no longer signed in")
@require_safe
def signed_out(request: HttpRequest) -> HttpResponse:
    """Confirm that the session is over."""
    return render(request, "registration/signed_out.html")
