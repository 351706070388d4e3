"""The label's page on a phone whose browser runs no JavaScript at all."""

import pytest
from playwright.sync_api import Page

from fleet.registry.queries import label_token
from tests.browser.conftest import OpenAs
from tests.builders import a_device

pytestmark = pytest.mark.browser
WIDTH = 390


@pytest.fixture
def phone(transactional_db: None, open_as: OpenAs) -> Page:
    """Give the label's page, as wide as a phone, without JavaScript."""
    page = open_as(width=WIDTH, java_script_enabled=False)
    page.goto(f"/r/{label_token(a_device())}/")
    return page


def choose(phone: Page, name: str, value: str) -> None:
    phone.locator(f"[name={name}][value={value}]").check()


def test_the_instructions_stand_there_at_once(phone: Page) -> None:
    """A yes or a doubt shows them on the tap, a no takes them away again."""
    keep = phone.locator(".keep")
    assert not keep.is_visible()
    for harm, shown in (("not_sure", True), ("no", False), ("yes", True)):
        choose(phone, "harm", harm)
        assert keep.is_visible() == shown


def test_a_phone_without_javascript_gets_its_number_and_slip(phone: Page) -> None:
    """Three taps, three lines and the button: the number stands there, and the slip behind the one link."""
    choose(phone, "harm", "not_sure")
    choose(phone, "what", "stopped")
    choose(phone, "connected", "yes")
    for name, words in (("where", "Bed 3"), ("reporter", "Nora Teasdale"), ("reach", "bleep 4411")):
        phone.locator(f"[name={name}]").fill(words)
    phone.get_by_role("button", name="Tag this driver").click()
    number = phone.locator(".ident-big").inner_text()
    assert phone.locator(".keep").is_visible()
    phone.get_by_role("link", name="Slip to print or copy").click()
    assert phone.locator(".sheet-number").inner_text() == number
    assert phone.locator(".sheet-keep").is_visible()


def test_nothing_is_wider_than_the_phone(phone: Page) -> None:
    """No sideways scrolling, and each choice is as high as a gloved finger needs."""
    box = phone.locator("form#report").bounding_box()
    assert box is not None
    assert box["x"] + box["width"] <= WIDTH
    for choice in phone.locator(".choice:visible").all():
        size = choice.bounding_box()
        assert size is not None
        assert size["height"] >= 48
