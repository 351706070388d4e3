"""How an answer comes in from a screen that keeps it (look/kept.js), and how that screen is told."""

from datetime import timedelta
from typing import Final

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone

from fleet.core.kept import Kept
from fleet.people.queries import person_of
from fleet.web import clock

#: A page's script that keeps answers says so with this header.
HEADER: Final = "X-Kept"
ANOTHERS: Final = 403
ANOTHERS_WORDS: Final = "Somebody else was signed in when this was typed. It is not saved under your name."
_LONGEST_KEY: Final = 40
_LONGEST_WAIT: Final = timedelta(days=30)
_SAVED: Final = range(300, 400)


def kept(request: HttpRequest) -> Kept:
    """The answer's key, and how long it waited; a wait that is no number is none."""
    held = request.POST.get("held", "")
    waited = timedelta(seconds=int(held)) if held.isdecimal() and len(held) < len("9999999") else timedelta(0)
    return Kept(request.POST.get("key", "")[:_LONGEST_KEY], min(waited, _LONGEST_WAIT))


def is_anothers(request: HttpRequest) -> bool:
    """Whether somebody else typed it before this person signed in: nobody's work goes under another name."""
    typed_by = request.POST.get("person", "")
    return bool(typed_by) and typed_by != str(person_of(request).pk)


def as_asked(request: HttpRequest, answered: HttpResponse) -> HttpResponse:
    """The answer as it is, or as data for the script: saved when and what is next, or the page that says why not."""
    if HEADER not in request.headers:
        return answered
    if answered.status_code in _SAVED:
        at = f"{timezone.localtime(clock.now()):%H:%M}"
        return JsonResponse({"saved": True, "at": at, "next": answered.headers["Location"]})
    if answered.status_code == ANOTHERS:
        return JsonResponse({"saved": False, "another": True})
    return JsonResponse({"saved": False, "page": answered.content.decode()})
