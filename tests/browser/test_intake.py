"""A file sent from a browser: the page follows the check and the commit by itself, on a phone too."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from fleet.jobs import work
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.registry.models import Device
from tests.browser.conftest import OpenAs
from tests.exchange.builders import a_file, a_home, driver_row

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTHS = (390, 1280)


def run_jobs() -> None:
    for job in Job.objects.filter(state=Job.State.QUEUED):
        work.run_job(job.pk)


def fits(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@pytest.mark.parametrize("width", WIDTHS)
def test_a_file_is_followed_to_the_record(width: int, open_as: OpenAs, manager: Person, tmp_path: Path) -> None:
    """Refused rows first, the corrected file then; nobody has to reload, and nothing is wider than the screen."""
    home = a_home()
    wrong, right = tmp_path / "wrong.csv", tmp_path / "right.csv"
    wrong.write_bytes(a_file([driver_row(number, home, pool="lone") for number in range(3)]))
    right.write_bytes(a_file([driver_row(number, home) for number in range(3)], ";", "utf-16"))
    page = open_as(manager, width)
    page.goto("/exchange/")
    page.get_by_role("link", name="Send a file").click()
    page.get_by_label("Devices").check()
    page.get_by_label("The file").set_input_files(wrong)
    page.get_by_role("button", name="Send and check this file").click()
    expect(page.get_by_text("The check begins in a moment.")).to_be_visible()
    run_jobs()
    expect(page.get_by_role("heading", name="Rows to correct")).to_be_visible(timeout=15_000)
    assert fits(page)
    page.get_by_role("link", name="Send the corrected file").click()
    expect(page.get_by_label("Devices")).to_be_checked()
    page.get_by_label("The file").set_input_files(right)
    page.get_by_role("button", name="Send and check this file").click()
    run_jobs()
    page.get_by_role("button", name="Commit this file").click(timeout=15_000)
    run_jobs()
    expect(page.get_by_text("3 drivers added.")).to_be_visible(timeout=15_000)
    assert fits(page)
    assert Device.objects.count() == 3
