"""Writing down who came in, who was kept out, and from where (OWASP ASVS 5.0.0, 16.3.1 and 16.3.2)."""

from collections.abc import Callable
from http import HTTPStatus

from axes.helpers import get_client_ip_address
from django.http import HttpRequest, HttpResponse

from fleet.people.models import AccessEntry, Person
from fleet.web import clock
from fleet.web.guards import is_elsewhere

Kind = AccessEntry.Kind


def note(request: HttpRequest, kind: AccessEntry.Kind, person: Person | None) -> AccessEntry:
    """Write one line of the log. A path goes in without its query: what was searched for is nobody's business."""
    return AccessEntry.objects.create(
        at=clock.now(),
        kind=kind,
        person=person,
        address=str(get_client_ip_address(request) or "")[:45],
        path=request.path[:200],
        browser=request.headers.get("User-Agent", "")[:200],
    )


def note_command(kind: AccessEntry.Kind, person: Person, command: str) -> AccessEntry:
    """Write one line of the log for what was done at the server itself, through no page."""
    return AccessEntry.objects.create(at=clock.now(), kind=kind, person=person, path=f"manage.py {command}")


def named(username: str) -> Person | None:
    """Whose sign-in name was typed; None where it is nobody's."""
    return Person.objects.filter(username__iexact=username).first()


def refusals(answer: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: write down each page that a signed-in person was refused."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        refused = response.status_code == HTTPStatus.FORBIDDEN
        if (refused or is_elsewhere(request)) and isinstance(request.user, Person):
            note(request, Kind.NO_DUTY if refused else Kind.ELSEWHERE, request.user)
        return response

    return middleware
