"""The second factor on a phone: turned on, asked for at the sign-in, and stood in for by a recovery code."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from fleet.people.actions import set_sign_in_rule
from fleet.people.models import Person
from tests.browser.conftest import OpenAs
from tests.browser.test_every_page import ASK_AXE, AXE, LOOK
from tests.builders import BY, PASSWORD
from tests.people.phones import Phone, Ticking, scanned, ticking_for

pytestmark = pytest.mark.browser
WIDTH = 390


@pytest.fixture
def ticking(transactional_db: None, technician: Person, monkeypatch: pytest.MonkeyPatch) -> Ticking:
    """Give the clock that codes are made by, held; the technician is there."""
    return ticking_for(monkeypatch)


@pytest.fixture
def phone(ticking: Ticking, open_as: OpenAs) -> Page:
    """A phone's window in which nobody is signed in."""
    return open_as(width=WIDTH)


def look(page: Page) -> None:
    """The page fits the phone, has one title and breaks no rule of axe-core."""
    assert page.evaluate(LOOK) == [], page.url
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert page.evaluate(ASK_AXE) == [], page.url


def give_password(page: Page, person: Person, goes_to: str = "") -> None:
    page.goto(f"/sign-in/?next={goes_to}")
    page.get_by_label("Sign-in name").fill(person.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def press(page: Page, button: str) -> None:
    page.get_by_role("button", name=button, exact=True).click()


def turn_on(page: Page, ticking: Ticking) -> tuple[Phone, list[str]]:
    """Go from the account to the recovery codes; the app and the codes."""
    page.goto(reverse("people:account"))
    press(page, "Turn it on")
    look(page)
    box = page.get_by_role("img", name="Code that an app").bounding_box()
    assert box is not None
    assert box["width"] >= 200
    app = scanned(page.content(), ticking)
    page.get_by_label("Code from your app").fill(app.code)
    page.get_by_label("Your password").fill(PASSWORD)
    press(page, "Turn it on")
    return app, page.locator(".codes li").all_inner_texts()


def sign_out(page: Page) -> None:
    page.goto(reverse("people:account"))
    press(page, "Menu")
    page.locator("details.account summary").click()
    press(page, "Sign out")


def test_turned_on_and_signed_in_with_on_a_phone(phone: Page, technician: Person, ticking: Ticking) -> None:
    """The app takes the secret from the page; from then on the sign-in asks for its code, and leads on after it."""
    give_password(phone, technician)
    app, codes = turn_on(phone, ticking)
    assert len(codes) == 10
    look(phone)
    phone.get_by_role("link", name="I have them: go on").click()
    expect(phone.get_by_role("heading", name="Second factor: on since")).to_be_visible()
    look(phone)
    sign_out(phone)
    ticking.next_code()
    give_password(phone, technician, reverse("bench:queue"))
    look(phone)
    field = phone.get_by_label("Code from your app")
    expect(field).to_be_focused()
    assert [field.get_attribute(name) for name in ("inputmode", "autocomplete")] == ["numeric", "one-time-code"]
    box = field.bounding_box()
    assert box is not None
    assert box["height"] >= 60
    field.fill(app.wrong())
    press(phone, "Sign in")
    expect(phone.locator(".errorlist")).to_contain_text("This code is wrong")
    look(phone)
    phone.get_by_label("Code from your app").fill(app.code)
    press(phone, "Sign in")
    phone.wait_for_url(f"**{reverse('bench:queue')}")


def test_a_recovery_code_on_a_phone(phone: Page, technician: Person, ticking: Ticking) -> None:
    """Behind one link at the sign-in; the pages that turn it off and make new codes fit the phone as well."""
    give_password(phone, technician)
    _, codes = turn_on(phone, ticking)
    sign_out(phone)
    give_password(phone, technician)
    phone.get_by_role("link", name="Use a recovery code").click()
    look(phone)
    phone.get_by_label("Recovery code").fill(codes[0])
    press(phone, "Sign in")
    expect(phone.locator(".message")).to_contain_text("9 left")
    for name in ("factor_codes", "factor_off"):
        phone.goto(reverse(f"people:{name}"))
        look(phone)


def test_the_recovery_codes_print_as_a_sheet(phone: Page, technician: Person, ticking: Ticking) -> None:
    """On paper stand whose they are and the codes, and no button."""
    give_password(phone, technician)
    turn_on(phone, ticking)
    phone.emulate_media(media="print")
    expect(phone.get_by_role("heading", name=f"Recovery codes of {technician}")).to_be_visible()
    assert phone.locator(".codes li:visible").count() == 10
    assert phone.locator("button:visible, nav:visible").count() == 0


def test_who_must_have_one_is_led_to_it_on_a_phone(phone: Page, technician: Person, ticking: Ticking) -> None:
    """From the password to the secret, from its code to the recovery codes, and on to the page that was asked for."""
    set_sign_in_rule("everybody", why="Local policy", by=BY)
    give_password(phone, technician, reverse("bench:queue"))
    look(phone)
    phone.get_by_label("Code from your app").fill(scanned(phone.content(), ticking).code)
    press(phone, "Turn it on and sign in")
    look(phone)
    phone.get_by_role("link", name="I have them: go on").click()
    phone.wait_for_url(f"**{reverse('bench:queue')}")
