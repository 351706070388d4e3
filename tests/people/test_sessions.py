"""A sign-in begins anew, ends when it should, and ends at once when somebody may not sign in any more."""

from datetime import datetime, timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from fleet.people.actions import edit_person, set_password
from fleet.people.models import Person
from fleet.web import clock
from tests.builders import BY, PASSWORD
from tests.people.test_signing import JOBS, attempt

pytestmark = pytest.mark.django_db
COOKIE = settings.SESSION_COOKIE_NAME


def is_in(client: Client) -> bool:
    return client.get(JOBS).status_code == 200


def test_nobody_can_sign_in_before_somebody_is_added() -> None:
    """A new installation has no account of any kind: the first is added by hand (ASVS 6.3.2)."""
    assert not Person.objects.exists()


def test_signing_in_makes_the_session_anew(client: Client, technician: Person) -> None:
    """A session somebody planted in the browser before is worth nothing afterwards (ASVS 7.2.4)."""
    planted = client.session
    planted["planted"] = True
    planted.save()
    client.cookies[COOKIE] = planted.session_key
    attempt(client, technician, PASSWORD)
    assert client.cookies[COOKIE].value != planted.session_key
    assert not Session.objects.filter(session_key=planted.session_key).exists()


def test_signing_out_kills_the_session_itself(client: Client, technician: Person) -> None:
    """Who kept a copy of the cookie has nothing: the session is gone from the server (ASVS 7.4.1)."""
    attempt(client, technician, PASSWORD)
    copy = client.cookies[COOKIE].value
    client.post(reverse("sign-out"))
    client.cookies[COOKIE] = copy
    assert not is_in(client)
    assert not Session.objects.filter(session_key=copy).exists()


def test_whoever_is_disabled_is_out_with_the_next_request(client: Client, technician: Person) -> None:
    """Everywhere at once, and allowed again no old session comes back to life (ASVS 7.4.2)."""
    elsewhere = Client()
    for browser in (client, elsewhere):
        attempt(browser, technician, PASSWORD)
        assert is_in(browser)
    edit_person(technician, is_active=False, by=BY)
    assert not is_in(client)
    assert not is_in(elsewhere)
    edit_person(technician, is_active=True, by=BY)
    assert not is_in(client)


def test_another_password_ends_the_sessions_made_with_the_old_one(client: Client, technician: Person) -> None:
    """Whoever got in with the old password is out."""
    attempt(client, technician, PASSWORD)
    set_password(technician, "quite another sign-in word", by=BY)
    assert not is_in(client)


def at(client: Client, moment: datetime) -> bool:
    with clock.at(moment):
        return is_in(client)


def test_a_sign_in_ends_after_its_longest_whatever_is_done(client: Client, technician: Person) -> None:
    """A page every hour keeps it alive through the idle time, and not beyond the longest (ASVS 7.3.2)."""
    start = clock.now()
    attempt(client, technician, PASSWORD)
    hours = settings.SESSION_LONGEST // 3600
    assert all(at(client, start + timedelta(hours=hour)) for hour in range(hours))
    assert not at(client, start + timedelta(hours=hours, minutes=1))
    attempt(client, technician, PASSWORD)
    assert is_in(client)


def test_a_sign_in_ends_after_its_idle_time(client: Client, technician: Person) -> None:
    """Without a page for the idle time the cookie and the session both end (ASVS 7.3.1)."""
    attempt(client, technician, PASSWORD)
    assert client.cookies[COOKIE]["max-age"] == settings.SESSION_COOKIE_AGE == 12 * 3600
    Session.objects.update(expire_date=clock.now() - timedelta(seconds=1))
    assert not is_in(client)


@pytest.mark.parametrize("password", ["short1!", "aldhollow", "1234567890", "password12345"])
def test_a_weak_password_is_refused(client: Client, technician: Person, password: str) -> None:
    """Too short, plain digits, or one that everybody tries: refused in words (ASVS 6.2.1 asks for 8 characters)."""
    client.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    data = {"old_password": PASSWORD, "new_password1": password, "new_password2": password}
    assert client.post("/account/password/", data).status_code == 200
    technician.refresh_from_db()
    assert technician.check_password(PASSWORD)
