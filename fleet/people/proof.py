"""Proving once more who one is, for an act that is signed: the password again, counted and throttled like a sign-in."""

from typing import Final

from axes.handlers.proxy import AxesProxyHandler
from axes.helpers import get_client_ip_address
from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from fleet.core.errors import BadValueError
from fleet.people.access import Kind, note
from fleet.people.queries import person_of

_WRONG: Final = "This is not your password. Nothing was signed; what you typed is still here."
_LOCKED: Final = (
    "Too many wrong passwords for your name from here: nothing can be signed for a quarter of an hour. "
    "What you typed is still here; a colleague can sign instead."
)


def password_field(label: str = "Your password", hint: str = "") -> forms.CharField:
    """The password of whoever is signed in. Never kept as a draft, never shown again."""
    widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
    return forms.CharField(label=label, help_text=hint, strip=False, widget=widget)


def prove(request: HttpRequest, password: str) -> None:
    """Return if the password is that of the signed-in person; else raise BadValueError (field "password").

    A wrong one counts towards the lock of name and address; a right one clears that count, as signing in does.
    """
    person = person_of(request)
    found = authenticate(request, username=person.username, password=password)
    if found is not None and found.pk == person.pk:
        AxesProxyHandler.reset_attempts(username=person.username, ip_address=get_client_ip_address(request))
        return
    note(request, Kind.NOT_PROVEN, person)
    locked = bool(getattr(request, "axes_locked_out", False))
    request.axes_locked_out = False  # type: ignore[attr-defined] # axes would answer with a page that loses the typing
    raise BadValueError(_LOCKED if locked else _WRONG, field="password")
