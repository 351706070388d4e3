"""Chromium, driven as a person would drive it, on the live server of the test.

One browser for all tests of this folder; each person has a window of their own, whose every complaint fails the test.
Ask for `open_as` last: it needs the people of the test to be there.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, ConsoleMessage, Page, Response, expect, sync_playwright
from pytest_django.live_server_helper import LiveServer

from fleet.people.models import Person
from tests.jobs.conftest import start_worker

__all__ = ["start_worker"]

OpenAs = Callable[..., Page]
SERVER_ERROR, REFUSED = 500, 400
#: Milliseconds until what is expected of a page counts as not come: two suites share a machine.
PATIENCE = 20_000
# Chromium tells each answer of 400 and more this way, without its address; `Complaints.answered` knows which counts.
_ANSWER_IN_CONSOLE = "Failed to load resource"


@dataclass
class Complaints:
    """What the browser complained of: script errors, violations of the content policy, files that did not come."""

    heard: list[str] = field(default_factory=list)

    def listen(self, page: Page) -> None:
        """Hear everything that goes wrong in a window."""
        page.on("pageerror", lambda error: self.heard.append(str(error)))
        page.on("console", self.said)
        page.on("response", self.answered)

    def said(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not message.text.startswith(_ANSWER_IN_CONSOLE):
            self.heard.append(message.text)

    def answered(self, response: Response) -> None:
        """A page may refuse what was typed (4xx); nothing may fail, and no file or part of a page may be missing."""
        is_page = response.request.is_navigation_request()
        if response.status >= SERVER_ERROR or (response.status >= REFUSED and not is_page):
            self.heard.append(f"{response.status} for {response.request.method} {response.url}")


@pytest.fixture(scope="package")
def chromium(chromium_path: str) -> Iterator[Browser]:
    """One browser for the tests of this folder."""
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        # Playwright keeps an event loop in the thread of the test, which Django would take for asynchronous code.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        expect.set_options(timeout=PATIENCE)
        browser = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def complaints() -> Iterator[Complaints]:
    """Fail the test if the browser complained of anything."""
    complaints = Complaints()
    yield complaints
    assert complaints.heard == []


@pytest.fixture
def open_as(chromium: Browser, live_server: LiveServer, complaints: Complaints) -> Iterator[OpenAs]:
    """Give a function that opens a window of a given width in which somebody (or nobody) is signed in."""
    contexts = []

    def opened(person: Person | None = None, width: int = 1280, **options: object) -> Page:
        context = chromium.new_context(base_url=live_server.url, viewport={"width": width, "height": 900}, **options)
        contexts.append(context)
        if person is not None:
            context.add_cookies([_signed_in(person, live_server.url)])
        page = context.new_page()
        complaints.listen(page)
        return page

    yield opened
    for context in contexts:
        context.close()


def _signed_in(person: Person, url: str) -> dict[str, str]:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return {
        "name": settings.SESSION_COOKIE_NAME,
        "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
        "url": url,
    }
