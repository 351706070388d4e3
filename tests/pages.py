"""Asking for a page as somebody."""

from http import HTTPStatus

from django.test import Client

from fleet.people.models import Person


def signed_in(person: Person) -> Client:
    """A browser in which the person is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def page(person: Person, address: str) -> str:
    """What the person is shown at the address."""
    answer = signed_in(person).get(address)
    assert answer.status_code == HTTPStatus.OK, answer.status_code
    return answer.content.decode()


def status(person: Person, address: str) -> int:
    """How the address answers the person."""
    return signed_in(person).get(address).status_code
