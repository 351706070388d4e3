"""Signing in and out. Failures are counted by django-axes, which locks the pair of name and address for a while."""

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.people.forms import SignInForm
from fleet.web.guards import public

sign_in = public(reason="whoever has an account signs in here")(
    LoginView.as_view(
        template_name="registration/sign_in.html", authentication_form=SignInForm, redirect_authenticated_user=True
    )
)

sign_out = public(reason="signing out must work whatever the session still holds")(LogoutView.as_view())


@public(reason="says that signing out worked, to somebody who is no longer signed in")
@require_safe
def signed_out(request: HttpRequest) -> HttpResponse:
    """Confirm that the session is over."""
    return render(request, "registration/signed_out.html")
