"""Ending what somebody is signed in to."""

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session

from fleet.people.models import Person
from fleet.web import clock


def end_sessions(person: Person, *, but: str | None = None) -> None:
    """Delete the person's sessions, but for the one with the key `but`, so that none comes back to life."""
    for session in Session.objects.filter(expire_date__gt=clock.now()).exclude(session_key=but or "").iterator():
        if session.get_decoded().get(SESSION_KEY) == str(person.pk):
            session.delete()
