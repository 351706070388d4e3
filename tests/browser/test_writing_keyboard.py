"""A procedure is written by one person and approved by another, with the keyboard alone."""

import pytest
from playwright.sync_api import Page, expect

from fleet.bench.models import ProcedureVersion
from fleet.bench.queries.lines import lines_of
from fleet.people.models import Person
from tests.browser.conftest import OpenAs

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def typed(page: Page, *parts: str) -> None:
    """Words typed into the field in focus and the next ones; Enter at the end."""
    for index, part in enumerate(parts):
        if index:
            page.keyboard.press("Tab")
        page.keyboard.type(part)
    page.keyboard.press("Enter")


def test_a_procedure_is_written_and_approved_by_keyboard(open_as: OpenAs, technician: Person, manager: Person) -> None:
    """Begin, add a check, a reading and a computed reading, move one, undo it, send it; a second person approves it."""
    page = open_as(technician)
    begins(page)
    writes_three_steps(page)
    moves_one_and_takes_it_back(page)
    sends(page)
    draft = ProcedureVersion.objects.get()
    assert [line.words for line in lines_of(draft)] == ["Case is whole", "Volume in 30 min", "Delivery error"]
    approves(open_as(manager))
    draft.refresh_from_db()
    assert (draft.state, draft.approved_by) == ("approved", manager)


def begins(page: Page) -> None:
    """A new procedure, without a step yet."""
    page.goto("/bench/procedures/")
    page.keyboard.press("n")
    expect(page.get_by_label("Name")).to_be_focused()
    typed(page, "Pressure check", "Planned", "", "Our own list")
    expect(page.get_by_text("No step is written yet.")).to_be_visible()


def writes_three_steps(page: Page) -> None:
    """A check, a reading, and one that is worked out from it."""
    adds(page, "1", "Case is whole", "Not while connected to a patient")
    adds(page, "2", "Volume in 30 min", "", "mL", "3", "volume")
    adds(
        page, "5", "Delivery error", "", "100 * (volume - 5) / 5", "%", "1", "", "-5", "5", "to be set by the hospital"
    )
    expect(page.get_by_text("= 100 × (step 2 − 5) ÷ 5")).to_be_visible()  # noqa: RUF001 - as it is printed


def adds(page: Page, key: str, *parts: str) -> None:
    """A step of the kind that the key stands for; it has the focus in the list then."""
    page.keyboard.press(key)
    expect(page.get_by_label("What to do")).to_be_focused()
    typed(page, *parts)
    expect(page.get_by_role("link", name=parts[0])).to_be_focused()


def moves_one_and_takes_it_back(page: Page) -> None:
    """The step in focus goes up, where its formula knows no reading any more, and comes back."""
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Move up step 2")).to_be_focused()
    expect(page.get_by_text("no earlier reading is named “volume”")).to_be_visible()
    page.keyboard.press("z")
    expect(page.get_by_text("The last change is taken back.")).to_be_visible()


def sends(page: Page) -> None:
    """To a second person; the writer cannot approve it."""
    page.keyboard.press("s")
    expect(page.get_by_text("It waits for a second person")).to_be_visible()
    expect(page.get_by_role("button", name="Approve this version")).to_have_count(0)


def approves(page: Page) -> None:
    """The one that waits is opened from the list and approved."""
    page.goto("/bench/procedures/?state=waiting")
    expect(page.get_by_text("Waits for approval")).to_be_visible()
    page.get_by_role("link", name="Pressure check, version 1").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Yours to approve or to send back")).to_be_visible()
    page.keyboard.press("a")
    expect(page.get_by_text("Approved. Orders are started with it from that day on.")).to_be_visible()
