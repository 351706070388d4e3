"""Ten to test today: printed on one page, and on to the rack with what is ticked."""

import re

import pytest
from playwright.sync_api import expect

from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_forecast, a_logged_test
from tests.batteries.test_sheet import NEAR
from tests.browser.conftest import OpenAs
from tests.builders import a_ward

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 390
PAGE_OF_A_PDF = re.compile(rb"/Type\s*/Page[^s]")


def ten_drivers() -> list[Device]:
    """Ten drivers near their limit, at a ward with a long name."""
    devices = [a_fitted_device() for _ in range(10)]
    for number, device in enumerate(devices):
        a_logged_test(device)
        a_forecast(device, **NEAR, test_worth=0.9 - 0.05 * number)
    Device.objects.update(last_seen_place=a_ward("Day surgery and recovery"), last_seen_at=clock.now())
    return devices


def test_ten_drivers_are_printed_on_one_page(open_as: OpenAs, technician: Person) -> None:
    """With the cautions, a box to tick and room for the time it stopped."""
    ten_drivers()
    page = open_as(technician)
    page.goto("/batteries/rack/sheet/")
    assert len(PAGE_OF_A_PDF.findall(page.pdf(format="A4"))) == 1
    page.emulate_media(media="print")
    expect(page.get_by_text("Stopped at")).to_be_visible()
    expect(page.get_by_role("checkbox").first).to_be_hidden()


def test_the_rack_starts_with_the_ticked_ones(open_as: OpenAs, technician: Person) -> None:
    """On a phone: untick the first, go on, and the rack begins with the second."""
    first, second, *_ = ten_drivers()
    page = open_as(technician, PHONE)
    page.goto("/batteries/rack/sheet/")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.get_by_role("checkbox", name=f"Put {first} on the rack").uncheck()
    page.get_by_role("button", name="Start the rack with these").click()
    expect(page.get_by_label("Row 1, driver")).to_have_value(second.asset_number)
    expect(page.get_by_label("Row 10, driver")).to_have_value("")
