"""When something is refused or fails, the page says what happened to what was sent and what to do next."""

import pytest
from django.test import Client

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.web.look_pages")]


def test_an_unknown_address_says_why_and_leads_on(client: Client) -> None:
    """404 doesn't tell a missing page from one outside the reader's places, and leads to the first page."""
    page = client.get("/nowhere/")
    assert page.status_code == 404
    assert "a place you do not look after" in page.text
    assert 'href="/"' in page.text


def test_an_expired_form_says_that_nothing_was_saved(client: Client) -> None:
    """403 for a form without a valid token says so, and the typing kept in the browser stays."""
    page = Client(enforce_csrf_checks=True).post("/report/")
    assert page.status_code == 403
    assert "Nothing was saved" in page.text
    assert "data-not-saved" in page.text


def test_a_missing_duty_says_whom_to_ask(client: Client) -> None:
    """403 for a duty one doesn't hold says that nothing changed and who could change that."""
    page = client.get("/forbidden/")
    assert page.status_code == 403
    assert "Nothing was changed" in page.text


def test_an_unreadable_request_is_answered_in_words(client: Client) -> None:
    """400 does not trip over the very host name it refuses."""
    page = client.get("/report/", headers={"host": "elsewhere.invalid"})
    assert page.status_code == 400
    assert "could not be read" in page.text


def test_a_failure_keeps_the_driver_out_of_use(client: Client) -> None:
    """500 stands alone, and tells a ward with an unsafe driver what to do without us."""
    client.raise_request_exception = False
    page = client.get("/broken/")
    assert page.status_code == 500
    assert "write a paper tag" in page.text
    assert "data-not-saved" in page.text
