"""Sessions last one shift after the last page, and reading pages does not write."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.http import HttpRequest, HttpResponse
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from fleet.people.models import Person
from fleet.web import clock
from fleet.web.sessions import RENEW_AFTER, renewing

MOMENT = datetime(2027, 3, 14, 7, 0, tzinfo=UTC)


def read_a_page(session: Any, moment: datetime) -> None:
    request = HttpRequest()
    request.session = session
    with clock.at(moment):
        renewing(lambda _request: HttpResponse())(request)


def test_reading_on_writes_the_session_seldom(client: Client, technician: Person) -> None:
    """A page within a quarter of an hour of the last renewal leaves the session alone; the next one renews it."""
    client.force_login(technician)
    session = client.session
    read_a_page(session, MOMENT)
    session.save()
    session.modified = False
    read_a_page(session, MOMENT + timedelta(seconds=RENEW_AFTER - 1))
    assert not session.modified
    read_a_page(session, MOMENT + timedelta(seconds=RENEW_AFTER))
    assert session.modified


def test_a_renewed_session_ends_one_shift_later(client: Client, technician: Person) -> None:
    """A page asked for by a signed-in person moves the end of the session on to twelve hours from then."""
    client.force_login(technician)
    Session.objects.update(expire_date=datetime.now(UTC) + timedelta(minutes=1))
    client.get("/healthz")
    end = Session.objects.get().expire_date
    assert end > datetime.now(UTC) + timedelta(seconds=settings.SESSION_COOKIE_AGE - 600)


@pytest.mark.django_db
def test_a_stranger_gets_no_session(client: Client, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    """Somebody who is not signed in costs no session row."""
    with django_assert_num_queries(1):
        client.get("/healthz")
    assert not Session.objects.exists()
