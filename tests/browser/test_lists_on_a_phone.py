"""A manager on the way through the wards: lists at the width of a phone."""

import pytest
from playwright.sync_api import expect

from fleet.people.models import Person
from fleet.schedules.models import DueAttempt
from tests.browser.conftest import OpenAs
from tests.rounds.builders import a_due_driver

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 390


def test_the_list_stands_before_its_filters(open_as: OpenAs, manager: Person) -> None:
    """On a phone the filters are folded away until asked for, stay open while they narrow, and never hide the count."""
    a_due_driver()
    page = open_as(manager, PHONE)
    page.goto("/schedules/overdue/")
    expect(page.get_by_role("heading", name="1 due is late")).to_be_visible()
    expect(page.get_by_label("Pool")).to_be_hidden()
    page.get_by_text("Narrow this list").click()
    page.get_by_label("Pool").select_option("loan")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.get_by_text("No late driver fits this.")).to_be_visible()
    expect(page.get_by_label("Pool")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_visit_in_vain_is_recorded_from_the_list(open_as: OpenAs, technician: Person) -> None:
    """From a late driver's card two taps and a button record that it could not be found."""
    device = a_due_driver()
    page = open_as(technician, PHONE)
    page.goto("/schedules/overdue/")
    page.get_by_role("link", name="Open", exact=True).click()
    page.get_by_text("Could not be located", exact=True).click()
    page.get_by_role("button", name="Record this visit").click()
    expect(page.get_by_text("The visit is recorded: could not be located.")).to_be_visible()
    assert DueAttempt.objects.get().due.device == device
