"""Between the right password and the code: the server remembers who stands there, and nobody is signed in.

So no guard has to know of it: to every page, file and form of the house whoever stands here is a stranger.
"""

from dataclasses import dataclass
from typing import Any, Final

from django.contrib.auth import login
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare

from fleet.people.access import Kind, note
from fleet.people.models import Person
from fleet.web import clock

#: Time enough to fetch the phone, or to put an app on it: our own choice, no source.
LASTS: Final = 15 * 60  # seconds
_KEY: Final = "password given"


@dataclass(frozen=True, slots=True)
class Waiting:
    """Somebody whose password was right a moment ago, and the page of ours that they asked for."""

    person: Person
    backend: str
    goes_to: str


def wait(request: HttpRequest, person: Any, goes_to: str) -> None:
    """Remember that the person's password was right. `goes_to` is an address of ours, checked by the caller."""
    request.session.cycle_key()
    request.session[_KEY] = {
        "person": person.pk,
        "backend": person.backend,
        # As Django keeps it of who is signed in: another password ends the waiting.
        "holds": person.get_session_auth_hash(),
        "at": int(clock.now().timestamp()),
        "goes_to": goes_to,
    }
    note(request, Kind.HALFWAY, person)


def waiting(request: HttpRequest) -> Waiting | None:
    """Who stands at the door; None for nobody, or somebody whose password was given too long ago or has changed."""
    held = request.session.get(_KEY)
    if not held or not 0 <= int(clock.now().timestamp()) - held["at"] < LASTS:
        return None
    person = Person.objects.filter(pk=held["person"], is_active=True).first()
    if person is None or not constant_time_compare(held["holds"], person.get_session_auth_hash()):
        return None
    return Waiting(person, held["backend"], held["goes_to"])


def enter(request: HttpRequest, who: Waiting) -> None:
    """Sign in whoever has given all that is asked for."""
    leave(request)
    login(request, who.person, backend=who.backend)
    note(request, Kind.SIGNED_IN, who.person)


def leave(request: HttpRequest) -> None:
    """Forget who stood at the door."""
    request.session.pop(_KEY, None)
