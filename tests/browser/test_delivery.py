"""A delivery scanned by keyboard-wedge: a number and Enter, one after another, faster than a page comes."""

import pytest
from playwright.sync_api import Page, expect

from fleet.deliveries import actions, queries
from fleet.deliveries.models import Delivery
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from tests.browser.acts import PHONE
from tests.browser.conftest import OpenAs
from tests.deliveries.builders import a_delivery

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SERIALS = [f"KW{number:04d}" for number in range(1, 13)]


@pytest.fixture
def delivery() -> Delivery:
    """A delivery that nothing was scanned into yet."""
    return a_delivery()


def wedge(page: Page, *codes: str) -> None:
    """Type each code and Enter without waiting for an answer."""
    for code in codes:
        page.keyboard.type(code)
        page.keyboard.press("Enter")


def test_twelve_scans_one_double_an_undo_and_the_labels(
    storekeeper: Person, delivery: Delivery, open_as: OpenAs
) -> None:
    """Each scan counts, though none waits for the one before; a double says so; undo; one press ends it."""
    desk = open_as(storekeeper)
    desk.goto(f"/deliveries/{delivery.pk}/")
    expect(desk.locator("#code")).to_be_focused()
    wedge(desk, *SERIALS)
    expect(desk.get_by_role("heading", name="12 drivers scanned")).to_be_visible()
    wedge(desk, SERIALS[3])
    expect(desk.get_by_role("status")).to_contain_text("Already here")
    expect(desk.get_by_role("status")).to_contain_text("row 4")
    desk.get_by_role("button", name=f"Undo {SERIALS[-1]}").click()
    expect(desk.get_by_role("heading", name="11 drivers scanned")).to_be_visible()
    desk.get_by_role("button", name="Take these drivers in").click()
    expect(desk.locator(".label")).to_have_count(11)
    expect(desk.get_by_role("button", name="Print 11 labels")).to_be_visible()
    assert set(Device.objects.values_list("serial_number", flat=True)) == set(SERIALS[:-1])


def test_what_could_not_be_sent_is_sent_later(storekeeper: Person, delivery: Delivery, open_as: OpenAs) -> None:
    """Scans made without a connection wait in the tab, survive a reload and are sent once the page is back."""
    phone = open_as(storekeeper, **PHONE)
    phone.goto(f"/deliveries/{delivery.pk}/")
    expect(phone.locator("#code")).to_be_focused()
    phone.route("**/scan/", lambda route: route.abort())
    wedge(phone, *SERIALS[:3])
    expect(phone.locator("[data-unsent]")).to_contain_text("3 not sent yet")
    phone.unroute("**/scan/")
    phone.reload()
    expect(phone.get_by_role("heading", name="3 drivers scanned")).to_be_visible()
    expect(phone.locator("[data-unsent]")).to_be_hidden()


def test_a_lost_sign_in_loses_no_scan(storekeeper: Person, delivery: Delivery, open_as: OpenAs) -> None:
    """The scan that met the sign-in page is sent after signing in again, and the list so far is there."""
    actions.scan(delivery, SERIALS[0], by=actor_for(storekeeper))
    desk = open_as(storekeeper)
    desk.goto(f"/deliveries/{delivery.pk}/")
    cookies = desk.context.cookies()
    desk.context.clear_cookies()
    desk.context.add_cookies([cookie for cookie in cookies if cookie["name"] != "sessionid"])
    wedge(desk, SERIALS[1])
    desk.wait_for_url("**/sign-in/**")
    desk.context.add_cookies(cookies)
    desk.goto(f"/deliveries/{delivery.pk}/")
    expect(desk.get_by_role("heading", name="2 drivers scanned")).to_be_visible()
    assert queries.lines(delivery).count() == 2
