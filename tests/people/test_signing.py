"""Signing in and out by the real backends, with throttling."""

from http import HTTPStatus
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from fleet.people.models import Person
from tests.builders import PASSWORD

pytestmark = pytest.mark.django_db

SIGN_IN = reverse("sign-in")
JOBS = reverse("jobs:runs")


def attempt(client: Client, person: Person, password: str, **data: str) -> Any:
    return client.post(SIGN_IN, {"username": person.username, "password": password, **data})


def fail_until_locked(client: Client, person: Person) -> Any:
    return [attempt(client, person, "wrong") for _ in range(settings.AXES_FAILURE_LIMIT)][-1]


def test_signing_in_leads_on_to_the_page_asked_for(client: Client, technician: Person) -> None:
    """Whoever is stopped at a page comes back to it after signing in."""
    stopped = client.get(JOBS)
    assert stopped["Location"] == f"{SIGN_IN}?next={JOBS}"
    answer = attempt(client, technician, PASSWORD, next=JOBS)
    assert answer["Location"] == JOBS
    assert client.get(JOBS).status_code == HTTPStatus.OK


def test_signing_in_leads_to_no_foreign_site(client: Client, technician: Person) -> None:
    """A link that carries another site's address lands on our own front page."""
    assert attempt(client, technician, PASSWORD, next="https://elsewhere.example/")["Location"] == "/"


def test_a_wrong_password_is_refused_in_words(client: Client, technician: Person) -> None:
    """The form comes back with the reason, and nobody is signed in."""
    answer = attempt(client, technician, "wrong")
    assert "do not fit together" in answer.content.decode()
    assert "_auth_user_id" not in client.session


def test_after_the_limit_even_the_right_password_waits(client: Client, technician: Person) -> None:
    """After five wrong passwords the name is locked for this address, the right password included."""
    locked = fail_until_locked(client, technician)
    assert locked.status_code == HTTPStatus.TOO_MANY_REQUESTS
    assert "locked for a while" in locked.content.decode()
    assert attempt(client, technician, PASSWORD).status_code == HTTPStatus.TOO_MANY_REQUESTS
    assert "_auth_user_id" not in client.session


def test_one_locked_name_locks_nobody_else(client: Client, technician: Person, manager: Person) -> None:
    """Another person at the same address still signs in."""
    fail_until_locked(client, technician)
    assert attempt(client, manager, PASSWORD).status_code == HTTPStatus.FOUND


def test_a_stranger_elsewhere_locks_nobody_out(technician: Person) -> None:
    """Wrong passwords from one address do not lock the person at another."""
    fail_until_locked(Client(REMOTE_ADDR="192.0.2.7"), technician)
    assert attempt(Client(REMOTE_ADDR="192.0.2.8"), technician, PASSWORD).status_code == HTTPStatus.FOUND


def test_a_disabled_person_cannot_sign_in(client: Client, technician: Person) -> None:
    """The right password of a disabled person fails like a wrong one, so that nothing is given away."""
    Person.objects.filter(pk=technician.pk).update(is_active=False)
    assert "do not fit together" in attempt(client, technician, PASSWORD).content.decode()


def test_signing_out_ends_the_session(client: Client, technician: Person) -> None:
    """After signing out the next page asks to sign in; a mere link cannot sign anybody out."""
    attempt(client, technician, PASSWORD)
    assert client.get(reverse("sign-out")).status_code == HTTPStatus.METHOD_NOT_ALLOWED
    assert "You are signed out" in client.post(reverse("sign-out"), follow=True).content.decode()
    assert client.get(JOBS).status_code == HTTPStatus.FOUND
