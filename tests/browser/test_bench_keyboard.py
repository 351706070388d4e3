"""The bench without a mouse: a scanner and a keyboard are enough, from the queue to the driver's return."""

import pytest
from playwright.sync_api import Locator, Page, expect

from fleet.bench.models import Order
from fleet.people.models import Person
from fleet.registry.models import Device
from tests.bench.builders import again, procedures, received
from tests.browser.acts import judge_note
from tests.browser.conftest import OpenAs
from tests.builders import PASSWORD, a_bench, a_device
from tests.stores.builders import an_instrument
from tests.tags.builders import an_open_tag

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_driver_is_received_worked_and_returned_by_keyboard_alone(open_as: OpenAs, technician: Person) -> None:
    """Keys and a scanner alone take a tagged driver from the queue to its return; nothing is clicked."""
    a_bench()
    procedures()
    device = a_device()
    tag = an_open_tag(device, words="It beeped and stopped.")
    page = open_as(technician)
    receives(page, tag.number, device)
    answers_each_step(page)
    finishes(page)
    order = Order.objects.get(device=device)
    assert again(device).condition == "in_service"
    assert list(order.readings.order_by("step__position").values_list("verdict", flat=True)) == [
        "pass", "pass", "na", "pass"
    ]  # fmt: skip
    assert order.readings.get(step__position=2).as_typed == "-1,5"


def receives(page: Page, code: str, device: Device) -> None:
    """The one driver of the queue is scanned and taken in."""
    page.goto("/bench/")
    expect(page.get_by_text("1 to do")).to_be_visible()
    expect(page.locator("#code")).to_be_focused()
    typed(page, code)
    expect(page.get_by_role("button", name=f"Receive {device}")).to_be_focused()
    page.keyboard.press("Enter")


def answers_each_step(page: Page) -> None:
    """A check passes, a value is read, a step does not apply, and a version is written down."""
    at_step(page, 1, page.get_by_label("Pass"))
    page.keyboard.press("p")
    page.keyboard.press("Enter")
    at_step(page, 2, page.get_by_label("Reading"))
    typed(page, "-1,5")
    at_step(page, 3, page.get_by_label("Pass"))
    page.keyboard.press("n")
    expect(page.locator("#id_note")).to_be_focused()
    typed(page, "came alone")
    at_step(page, 4, page.locator("#id_note"))
    typed(page, "2.4.1")
    judge_note(page)


def finishes(page: Page) -> None:
    """The first outcome is chosen, said what was done, and signed."""
    expect(page.get_by_role("link", name="Finish this order")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/finish/")
    expect(page.get_by_role("radio").first).to_be_focused()
    page.keyboard.press("1")
    page.get_by_label("What you did").fill("Contact cleaned.")
    page.get_by_label("Your password").focus()
    typed(page, PASSWORD)
    page.wait_for_url("**/bench/")


def at_step(page: Page, number: int, field: Locator) -> None:
    """The step is shown, and its field has the focus."""
    expect(page.get_by_text(f"Step {number} of 4")).to_be_visible()
    expect(field).to_be_focused()


def typed(page: Page, words: str) -> None:
    """Words typed into the field in focus, and sent."""
    page.keyboard.type(words)
    page.keyboard.press("Enter")


def test_letters_choose_the_verdict_while_a_number_is_typed(open_as: OpenAs, technician: Person) -> None:
    """In the number field n means "not applicable": it leads to the reason and writes no letter into the number."""
    a_bench()
    procedures()
    device = a_device()
    an_open_tag(device)
    page = open_as(technician)
    page.goto(f"/bench/receive/?code={device}")
    expect(page.get_by_role("button", name=f"Receive {device}")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/orders/**")
    page.goto(f"{page.url}?step=2")
    expect(page.get_by_label("Reading")).to_be_focused()
    page.keyboard.type("4n")
    expect(page.locator("#id_note")).to_be_focused()
    expect(page.locator("#id_value")).to_have_value("4")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Step 2 of 4")).to_be_visible()
    assert not Order.objects.get(device=device).readings.exists()


def test_the_instrument_is_reached_by_a_key_and_is_no_stop_on_the_way(open_as: OpenAs, technician: Person) -> None:
    """Where none is needed, the tab key goes from the note to the button; i leads from the number to the instrument."""
    order, analyser = received(a_device(), technician, kind="corrective"), an_instrument(number="FLO-01")
    page = open_as(technician)
    page.goto(f"/bench/orders/{order}/?step=2")
    expect(page.get_by_label("Reading")).to_be_focused()
    page.locator("#id_note").focus()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Save and go on")).to_be_focused()
    page.get_by_label("Reading").focus()
    page.keyboard.type("1.5i")
    expect(page.locator("#id_instrument")).to_be_focused()
    page.keyboard.type("FLO")
    page.get_by_label("Reading").press("Enter")
    expect(page.get_by_text("Step 3 of 4")).to_be_visible()
    reading = order.readings.get()
    assert (reading.as_typed, reading.instrument) == ("1.5", analyser)
