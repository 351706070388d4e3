"""A round of one ward, walked with a phone: scan, answer, end."""

import pytest
from playwright.sync_api import Page, expect

from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds.models import RoundStop
from fleet.schedules.models import DueAttempt
from tests.bench.builders import procedures
from tests.browser.acts import PHONE, type_in
from tests.browser.conftest import OpenAs
from tests.builders import a_bench, a_ward
from tests.rounds.builders import a_due_driver

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LEAST = 48


@pytest.fixture
def drivers() -> list[Device]:
    """Three late drivers of Ward 4 and one of Ward 7, which somebody carried here."""
    procedures()
    a_bench()
    return [a_due_driver(a_ward()), a_due_driver(a_ward()), a_due_driver(a_ward()), a_due_driver(a_ward("Ward 7"))]


def scan(phone: Page, code: str) -> None:
    """Scan where the focus stands, as a scanner does."""
    expect(phone.locator("#code")).to_be_focused()
    with phone.expect_navigation():
        type_in(phone, code)


def fits(phone: Page) -> bool:
    """Whether nothing runs out of the screen sideways."""
    return bool(phone.evaluate("document.documentElement.scrollWidth <= innerWidth"))


def begin(phone: Page) -> None:
    """Begin the round of Ward 4."""
    phone.goto("/rounds/")
    assert fits(phone)
    phone.get_by_label("Place").select_option(label="Ward 4, Mereford General")
    phone.get_by_role("button", name="Begin this round").tap()
    expect(phone.get_by_role("heading", name="Round of Ward 4")).to_be_visible()
    expect(phone.get_by_text("0 of 3", exact=True)).to_be_visible()


def end(phone: Page) -> None:
    """End the round, which says what came of it."""
    phone.get_by_role("link", name="End this round").tap()
    expect(phone.get_by_text("Looked for and not found: 1")).to_be_visible()
    phone.get_by_role("button", name="End this round").tap()
    expect(phone.get_by_text("The round of Ward 4 has ended")).to_be_visible()


def test_a_round_from_its_beginning_to_its_end(technician: Person, drivers: list[Device], open_as: OpenAs) -> None:
    """One taken, one in use, one from the wrong ward taken, one not found; then the end says what came of it."""
    right, busy, lost, strayed = drivers
    phone = open_as(technician, **PHONE)
    begin(phone)
    scan(phone, right.serial_number)
    expect(phone.get_by_role("heading", name=right.asset_number)).to_be_visible()
    assert fits(phone)
    phone.get_by_role("button", name=f"Take {right} to the bench").tap()
    expect(phone.get_by_text("1 of 3", exact=True)).to_be_visible()
    scan(phone, strayed.asset_number)
    expect(phone.get_by_text(f"{strayed} was on record in Ward 7. It is now on record here.")).to_be_visible()
    phone.get_by_role("button", name=f"Take {strayed} to the bench").tap()
    expect(phone.get_by_text("2 of 4", exact=True)).to_be_visible()
    expect(phone.locator("#code")).to_be_focused()
    type_in(phone, "NIX99")
    expect(phone.get_by_role("alert")).to_contain_text("No driver of your places is known as")
    expect(phone.locator(".round-card")).to_have_count(0)
    scan(phone, busy.asset_number)
    phone.get_by_label("Note").fill("Bed 3")
    phone.get_by_role("button", name="In use on a patient").tap()
    expect(phone.get_by_text("3 of 4", exact=True)).to_be_visible()
    phone.get_by_role("link", name=lost.asset_number).tap()
    phone.get_by_role("button", name="Looked for, not found").tap()
    expect(phone.get_by_text("4 of 4", exact=True)).to_be_visible()
    assert fits(phone)
    end(phone)
    whats = dict(RoundStop.objects.filter(latest=True).values_list("device__asset_number", "what"))
    assert whats == {
        right.asset_number: "taken",
        strayed.asset_number: "taken",
        busy.asset_number: "in_use",
        lost.asset_number: "not_found",
    }
    assert set(DueAttempt.objects.values_list("reason", "note")) == {
        ("in_use", "Bed 3"),
        ("not_found", "Looked in Ward 4"),
    }


def test_enter_in_the_note_takes_nothing(technician: Person, drivers: list[Device], open_as: OpenAs) -> None:
    """Only a button answers: Enter in the note leaves the driver where it is."""
    phone = open_as(technician, **PHONE)
    begin(phone)
    scan(phone, drivers[0].asset_number)
    phone.get_by_label("Note").fill("Bed 3")
    phone.keyboard.press("Enter")
    assert phone.get_by_label("Note").input_value() == "Bed 3"
    assert list(RoundStop.objects.values_list("what", flat=True)) == ["seen"]


def test_each_target_is_as_high_as_a_gloved_finger(technician: Person, drivers: list[Device], open_as: OpenAs) -> None:
    """Drivers of the list and answers of the card can be hit by thumb."""
    phone = open_as(technician, **PHONE)
    begin(phone)
    scan(phone, drivers[0].asset_number)
    targets = phone.locator(".round-driver:visible, .round-answers button:visible, .actions .primary:visible").all()
    assert len(targets) > len(drivers)
    for target in targets:
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= LEAST
