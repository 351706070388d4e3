"""A charging rack and a single runtime test, logged with a keyboard and a scanner alone."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from fleet.batteries.models import RuntimeTest
from fleet.people.models import Person
from tests.batteries.builders import a_fitted_device, a_logged_test
from tests.browser.acts import type_in
from tests.browser.conftest import OpenAs

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

START = datetime(2026, 3, 3, 8, 0, tzinfo=UTC)


def scan(page: Page, *cells: str) -> None:
    """Type each cell and press Enter, as a scanner does after each code."""
    for cell in cells:
        type_in(page, cell)


def start_at(page: Page, clock: str) -> None:
    """Go back from the time to the day, type 3 March 2026 (alike in each order of day and month), then the time."""
    started_at = page.locator("[name=started_at]")
    expect(started_at).to_be_focused()
    for _segment in ("picker", "year", "month", "day"):
        page.keyboard.press("Shift+Tab")
    expect(page.locator("[name=started_on]")).to_be_focused()
    scan(page, "03032026")
    expect(started_at).to_be_focused()
    scan(page, clock)


def send(page: Page) -> None:
    """Go on to the button and press it."""
    button = page.locator("button.primary")
    while button.evaluate("button => button !== document.activeElement"):
        page.keyboard.press("Tab")
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_a_rack_of_ten_by_keyboard_alone(technician: Person, open_as: OpenAs) -> None:
    """Start, then ten times driver, stop, alarm and reason, each with Enter; the last Enter stands on the button."""
    devices = [a_fitted_device() for _ in range(10)]
    a_logged_test(devices[0])  # which fixes the usual syringe
    page = open_as(technician)
    page.goto("/batteries/rack/")
    start_at(page, "0800")
    for row, device in enumerate(devices, start=1):
        expect(page.locator(f"[name=row{row}-driver]")).to_be_focused()
        scan(page, device.asset_number, f"13:{20 + row}", "1255", "")
    expect(page.get_by_role("button", name="Log these tests")).to_be_focused()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("h1").inner_text() == "10 tests logged together"
    logged = RuntimeTest.objects.filter(started_at=START).order_by("pk")
    assert [test.device for test in logged] == devices
    assert [test.stopped_at.minute for test in logged] == list(range(21, 31))


def test_enter_goes_back_too_and_sends_nothing_early(technician: Person, open_as: OpenAs) -> None:
    """Enter in a cell never sends the rack; with Shift it returns to the cell before."""
    a_logged_test(a_fitted_device())
    page = open_as(technician)
    page.goto("/batteries/rack/")
    scan(page, "0800", "A1")
    expect(page.locator("[name=row1-stopped_at]")).to_be_focused()
    page.keyboard.press("Shift+Enter")
    expect(page.locator("[name=row1-driver]")).to_be_focused()
    assert page.url.endswith("/batteries/rack/")


def test_a_wrong_row_is_named_and_mended_by_keyboard(technician: Person, open_as: OpenAs) -> None:
    """The summary has the focus and its link leads to the cell; all that was typed is there, and then goes in."""
    right, misread = a_fitted_device(), a_fitted_device()
    a_logged_test(right)
    page = open_as(technician)
    page.goto("/batteries/rack/")
    start_at(page, "0800")
    scan(page, right.asset_number, "13:36", "", "", "NIX", "13:40", "", "")
    send(page)
    expect(page.locator("[data-focus]")).to_be_focused()
    assert "Row 2 (NIX)" in page.locator("[data-focus]").inner_text()
    assert RuntimeTest.objects.count() == 1
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("[name=row2-driver]")).to_be_focused()
    assert page.locator("[name=row1-driver]").input_value() == right.asset_number
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type(misread.asset_number)
    send(page)
    assert page.locator("h1").inner_text() == "2 tests logged together"


def test_one_test_by_scanner_and_keyboard(technician: Person, open_as: OpenAs) -> None:
    """Scan, start, runtime, alarm, Enter on the button; its worth is told, and the next driver can be scanned."""
    first, second = a_fitted_device(), a_fitted_device()
    a_logged_test(second)
    page = open_as(technician)
    page.goto("/batteries/log/")
    with page.expect_navigation():
        scan(page, first.serial_number)
    start_at(page, "0800")
    scan(page, "", "5:36", "1255", "")
    expect(page.get_by_role("button", name="Log this test")).to_be_focused()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    worth = page.locator(".battery-worth").inner_text().replace("\u00a0", " ")
    assert worth == "5 h 36 min of 7 h rated: 80.0 %, meets the replacement level of 80 %."
    expect(page.locator("#device")).to_be_focused()
    with page.expect_navigation():
        scan(page, second.asset_number)
    assert second.asset_number in page.locator("h1").inner_text()
