"""Chromium, driven as a person would drive it, on the live server of the test."""

import os
from collections.abc import Callable, Iterator

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page, sync_playwright

from fleet.people.models import Person

# Playwright keeps an event loop in the thread of the test, which Django would take for asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

OpenAs = Callable[..., Page]


@pytest.fixture(scope="session")
def chromium(chromium_path: str) -> Iterator[Browser]:
    """One browser for the run."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def open_as(chromium: Browser, live_server: object) -> Iterator[OpenAs]:
    """Give a function that opens a window of a given width in which somebody is signed in."""
    contexts = []

    def opened(person: Person | None, width: int = 1280, **options: object) -> Page:
        context = chromium.new_context(base_url=live_server.url, viewport={"width": width, "height": 900}, **options)
        contexts.append(context)
        if person is not None:
            context.add_cookies([_signed_in(person, live_server.url)])
        return context.new_page()

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
