"""What house.js adds to a page, tried in a browser under the real content policy."""

import pytest
from playwright.sync_api import Page, expect

from fleet.people.models import Person
from tests.browser.conftest import OpenAs
from tests.web import look_pages

pytestmark = [pytest.mark.browser, pytest.mark.urls("tests.web.look_pages")]


@pytest.fixture
def page(transactional_db: None, open_as: OpenAs) -> Page:
    """Give the report page, opened by somebody signed in."""
    person = Person.objects.create_user("nell", display_name="Nell Arden")
    look_pages.received.clear()
    opened = open_as(person, permissions=["clipboard-read", "clipboard-write"])
    opened.goto("/report/")
    return opened


def test_the_keys_find_pick_and_explain(page: Page) -> None:
    """A slash goes to the search, a number picks its choice, and the question mark lists both."""
    page.locator("h1").click()
    page.keyboard.press("2")
    assert page.locator("[name=what]:checked").input_value() == "b"
    page.keyboard.press("?")
    assert "Fell" in page.locator("#keys").inner_text()
    page.keyboard.press("Escape")
    page.locator("h1").click()
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.name") == "q"


def test_keys_type_where_typing_is_done(page: Page) -> None:
    """Inside a field every key is a letter: nothing is picked, found or sent."""
    page.locator("[name=words]").press_sequentially("t/2?")
    assert page.locator("[name=words]").input_value() == "t/2?"
    assert page.locator("[name=what]:checked").count() == 0


def test_a_scanner_that_ends_with_tab_sends_the_form(page: Page) -> None:
    """The scan field has the focus on load, and the Tab that some scanners send is enough."""
    page.keyboard.type("SD-10414")
    with page.expect_navigation():
        page.keyboard.press("Tab")
    assert [sent["scan"] for sent in look_pages.received] == ["SD-10414"]


def test_an_impatient_finger_sends_once(page: Page) -> None:
    """Two presses before the answer comes make one report, and its button's key counts as a press."""
    page.keyboard.type("SD-1")
    with page.expect_navigation():
        page.evaluate("for (let i = 0; i < 2; i++) document.querySelector('.actions button').click()")
    assert len(look_pages.received) == 1


def test_unsent_typing_comes_back(page: Page) -> None:
    """Typing that was never sent is put back, says so, and can be thrown away."""
    page.locator("[name=words]").fill("half a sentence")
    page.goto("/report/")
    assert page.locator("[name=words]").input_value() == "half a sentence"
    page.get_by_role("button", name="Start afresh").click()
    assert page.locator("[name=words]").input_value() == ""
    page.goto("/report/")
    assert page.locator("[name=words]").input_value() == ""


def test_sent_typing_does_not_come_back(page: Page) -> None:
    """After a report was taken the next form is empty."""
    page.keyboard.type("SD-1")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("[name=scan]").input_value() == ""


def test_typing_outlives_a_lost_session(page: Page) -> None:
    """When the answer is the sign-in page, what was typed is still there afterwards."""
    page.keyboard.type("SD-1")
    page.locator("[name=words]").fill(look_pages.LOST_SESSION)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.goto("/report/")
    assert page.locator("[name=words]").input_value() == look_pages.LOST_SESSION


def test_signing_out_forgets_what_was_kept(page: Page) -> None:
    """Nothing typed stays in the browser of a shared screen once its person has signed out."""
    page.locator("[name=words]").fill("about a patient")
    assert "about a patient" in page.evaluate("JSON.stringify({...sessionStorage})")
    page.route("**/sign-out/", lambda route: route.fulfill(status=200, body="out"))
    page.locator(".account summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Sign out").click()
    assert "about a patient" not in page.evaluate("JSON.stringify({...sessionStorage})")


def test_the_chosen_theme_stays(page: Page) -> None:
    """A theme chosen by hand holds on the next page."""
    page.locator(".account summary").click()
    page.get_by_role("button", name="Light or dark").click()
    chosen = page.evaluate("document.documentElement.dataset.theme")
    page.goto("/report/")
    assert page.evaluate("document.documentElement.dataset.theme") == chosen == "dark"


def test_an_identifier_is_copied(page: Page) -> None:
    """One press puts the identifier on the clipboard and the button says so."""
    page.locator("[data-copy]").click()
    expect(page.get_by_role("button", name="Copied")).to_be_visible()
    assert page.evaluate("navigator.clipboard.readText()") == "SD-10414"
