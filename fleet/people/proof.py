"""Proving once more who one is: the password again, or a code of the second factor, counted like a sign-in.

What is signed asks for the password alone, also of who has a second factor: that one was asked at the door.
"""

from datetime import timedelta
from typing import Final

from axes.handlers.proxy import AxesProxyHandler
from axes.helpers import get_client_ip_address
from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from fleet.core.errors import BadValueError
from fleet.people import actions, queries
from fleet.people.access import Kind, note
from fleet.people.models import Person
from fleet.people.queries import actor_for, person_of
from fleet.web import clock

_UNSIGNED: Final = "Nothing was signed; what you typed is still here."
_UNCHANGED: Final = "Nothing was changed."
_LOCKED: Final = (
    "Too many wrong passwords for your name from here: nothing can be signed for a quarter of an hour. "
    "What you typed is still here; a colleague can sign instead."
)
_LOCKED_ACCOUNT: Final = "Too many wrong passwords or codes for your name: try again in a quarter of an hour."
_WRONG_CODE: Final = "This code is wrong, or was used before. Wait for the next one that the app shows."
_LOCKED_CODE: Final = "Too many wrong codes for your name. Try again later, or ask an administrator."
#: Wrong codes for one name in an hour, wherever they come from: who gives them has the password already, so here a lock
#: that follows the name is right. With three codes in a million right at once: common practice, no source.
MOST_WRONG: Final = 10
WRONG_SPAN: Final = timedelta(hours=1)


class LockedOutError(BadValueError):
    """Too many wrong codes: not even the right one counts for a while."""


def password_field(label: str = "Your password", hint: str = "") -> forms.CharField:
    """The password of whoever is signed in. Never kept as a draft, never shown again."""
    widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
    return forms.CharField(label=label, help_text=hint, strip=False, widget=widget)


def prove(request: HttpRequest, password: str) -> None:
    """Return if the password is that of the signed-in person, who signs; else raise BadValueError (field "password").

    A wrong one counts towards the lock of name and address; a right one clears that count, as signing in does.
    """
    _ask_password(request, password, wrong=_UNSIGNED, locked=_LOCKED)
    _forget_failures(request)


def prove_for_account(request: HttpRequest, password: str) -> None:
    """The same for a change of the second factor; the count stays, since a code is asked for as well."""
    _ask_password(request, password, wrong=_UNCHANGED, locked=_LOCKED_ACCOUNT)


def prove_both(request: HttpRequest, password: str, code: str) -> actions.Taken:
    """Return which code it was if password and code are right; else raise BadValueError that names the field."""
    prove_for_account(request, password)
    taken = prove_code(request, person_of(request), code)
    _forget_failures(request)
    return taken


def prove_code(request: HttpRequest, person: Person, code: str) -> actions.Taken:
    """Return which kind of code of the person's second factor it was; else raise BadValueError (field "code").

    A wrong one counts with the wrong passwords of name and address, and with the wrong codes of the name from
    anywhere; after too many raises LockedOutError. Only a whole sign-in clears the count: the password does not.
    """
    if _is_locked(request, person):
        note(request, Kind.LOCKED, person)
        raise LockedOutError(_LOCKED_CODE, field="code")
    taken = actions.take_code(person, code, by=actor_for(person))
    if taken is None:
        note(request, Kind.WRONG_CODE, person)
        AxesProxyHandler.user_login_failed(prove_code, credentials={"username": person.username}, request=request)
        if _answered_by_axes(request) or _is_locked(request, person):
            raise LockedOutError(_LOCKED_CODE, field="code")
        raise BadValueError(_WRONG_CODE, field="code")
    if taken is actions.Taken.RECOVERY:
        note(request, Kind.RECOVERED, person)
    return taken


def _ask_password(request: HttpRequest, password: str, *, wrong: str, locked: str) -> None:
    person = person_of(request)
    found = authenticate(request, username=person.username, password=password)
    if found is not None and found.pk == person.pk:
        return
    note(request, Kind.NOT_PROVEN, person)
    raise BadValueError(
        locked if _answered_by_axes(request) else f"This is not your password. {wrong}", field="password"
    )


def _answered_by_axes(request: HttpRequest) -> bool:
    """Whether axes locked the request, and keep it from answering with a page that loses the typing."""
    locked = bool(getattr(request, "axes_locked_out", False))
    request.axes_locked_out = False  # type: ignore[attr-defined] # read by its middleware
    return locked


def _is_locked(request: HttpRequest, person: Person) -> bool:
    if queries.wrong_codes(person, clock.now() - WRONG_SPAN) >= MOST_WRONG:
        return True
    return not AxesProxyHandler.is_allowed(request, {"username": person.username})


def _forget_failures(request: HttpRequest) -> None:
    AxesProxyHandler.reset_attempts(username=person_of(request).username, ip_address=get_client_ip_address(request))
