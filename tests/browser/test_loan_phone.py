"""A driver lent and taken back with a phone: scanned, counted, and what did not come back told at once."""

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from fleet.accessories.models import Missing
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock
from tests.bench.builders import again
from tests.browser.acts import PHONE, tap, type_in
from tests.browser.conftest import OpenAs
from tests.builders import a_ward
from tests.loans.builders import a_pool_driver

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def device() -> Device:
    """A driver of the pool that has a power lead."""
    a_ward()
    return a_pool_driver()


def scan(phone: Page, address: str, device: Device) -> None:
    """Open a page by its scan."""
    phone.goto(address)
    expect(phone.locator("#code")).to_be_focused()
    with phone.expect_navigation():
        type_in(phone, device.serial_number)


def test_lent_and_back_without_its_lead(storekeeper: Person, device: Device, open_as: OpenAs) -> None:
    """Lent in eight touches with its lead; back without it, the page says that it is missing and from where."""
    phone = open_as(storekeeper, **PHONE)
    scan(phone, "/loans/out/", device)
    phone.get_by_label("Lent to").select_option(label="Ward 4, Mereford General")
    phone.get_by_label("To come back by").fill((clock.today() + timedelta(days=3)).isoformat())
    tap(phone, "Power lead", "With it")
    phone.get_by_role("button", name="Lend it").tap()
    expect(phone.get_by_role("status")).to_contain_text("is lent to Ward 4")
    assert again(device).place == a_ward()
    scan(phone, "/loans/back/", device)
    tap(phone, "How is it?", "Looks right, and is clean")
    tap(phone, "Power lead", "Missing")
    phone.get_by_role("button", name="Take it back").tap()
    expect(phone.get_by_role("status")).to_contain_text("Missing: Power lead")
    expect(phone.get_by_role("heading", name="Missing with it")).to_be_visible()
    assert Missing.objects.get(ended_at=None).place == a_ward()
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
