"""A yearly service at the bench: keyboard and scanner alone, one step at a time, from the queue to the signature."""

import pytest
from playwright.sync_api import Locator, Page, expect

from fleet.bench import actions as bench
from fleet.bench.actions.reference import ensure_reference_limits, set_policy
from fleet.bench.models import Order, Step
from fleet.people.models import Person
from fleet.stores.models import Instrument
from tests.bench.builders import again
from tests.browser import acts
from tests.browser.conftest import OpenAs
from tests.builders import BY, PASSWORD, a_bench, a_device, a_site, a_type
from tests.schedules.builders import a_plan
from tests.stores.builders import an_instrument

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MOST_TABS = 25


def tab_to(page: Page, wanted: Locator) -> None:
    """Press the tab key until the wanted control has the focus."""
    for _ in range(MOST_TABS):
        if wanted.evaluate("element => element === document.activeElement"):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"no way by the tab key to {wanted}")


def answer(page: Page, step: Step, analyser: Instrument) -> None:
    """Answer a step by keys: 1 for a check, words, or a number after the instrument's label was scanned."""
    expect(page.get_by_text(f"Step {step.position} of")).to_be_visible()
    if step.kind == Step.Kind.CHECK:
        expect(page.get_by_label("Pass")).to_be_focused()
        page.keyboard.press("1")
        expect(page.get_by_label("Pass")).to_be_checked()
        page.keyboard.press("Enter")
    elif step.kind == Step.Kind.TEXT:
        expect(page.locator("#id_note")).to_be_focused()
        acts.type_in(page, "Log saved, software 2.4.1")
        acts.judge_note(page)
    else:
        expect(page.get_by_label("Reading")).to_be_focused()
        acts.type_in(page, analyser.number)
        expect(page.get_by_text(f"Measured with {analyser}")).to_be_visible()
        expect(page.get_by_label("Reading")).to_have_value("")
        if step.quantity:  # the limit depends on the method, which is chosen by its first letters
            page.keyboard.type("4.9")
            tab_to(page, page.get_by_label("Method"))
            page.keyboard.type("Direct")
            tab_to(page, page.get_by_label("Mains voltage"))
            page.keyboard.type("230")
            tab_to(page, page.get_by_role("button", name="Save and go on"))
            page.keyboard.press("Enter")
        else:
            acts.type_in(page, "4.9" if step.low is not None else "4.9p")
            if "in the note" in step.caution:
                expect(page.locator("#id_note")).to_be_focused()
                acts.type_in(page, "50 mL")


def test_a_yearly_service_by_keyboard_and_scanner_alone(open_as: OpenAs, technician: Person) -> None:
    """Received, each step of the starter procedure answered, an instrument named by its label, signed, and back."""
    a_bench()
    bench.ensure_starter_procedures(BY)
    set_policy(a_site(), {"profile": ensure_reference_limits(BY)[0].profile}, by=BY)
    of_class_two = a_type(protection="2", applied_part="CF")
    device, analyser = a_device(device_type=of_class_two), an_instrument(number="SAF-01", kind="safety")
    a_plan(device.device_type)
    page = open_as(technician)
    acts.receive(page, str(device), kind="Planned service")
    order = Order.objects.select_related("procedure_version").get(device=device)
    page.keyboard.press("Escape")
    page.keyboard.press("w")
    page.wait_for_url("**/stepwise/**")
    acts.type_in(page, device.serial_number)
    expect(page.get_by_text(f"{device}: the right driver")).to_be_visible()
    expect(page.locator("#id_note")).to_have_value("")
    for step in order.procedure_version.steps.order_by("position"):
        answer(page, step, analyser)
    expect(page.get_by_role("link", name="Finish this order")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/finish/")
    page.keyboard.press("2")
    tab_to(page, page.get_by_role("group", name="What did this service come upon?").get_by_role("radio").first)
    page.keyboard.press("Space")
    tab_to(page, page.get_by_label("Your password"))
    acts.type_in(page, PASSWORD)
    page.wait_for_url("**/bench/")
    assert again(device).condition == "in_service"
    assert order.readings.filter(verdict="pass").count() == order.procedure_version.steps.count()
    assert set(order.readings.exclude(value=None).values_list("instrument", flat=True)) == {analyser.pk}
    assert order.signatures.get().by == technician


def test_escape_leads_to_the_overview_and_b_and_s_from_step_to_step(open_as: OpenAs, technician: Person) -> None:
    """Back, on and out by single keys; a wrong driver's label is told at once, and its letters choose nothing."""
    a_bench()
    bench.ensure_starter_procedures(BY)
    device, other = a_device(), a_device()
    order = bench.receive(device, bench=a_bench(), by=BY, kind="planned")
    page = open_as(technician)
    page.goto(f"/bench/orders/{order}/stepwise/?step=2")
    expect(page.get_by_label("Pass")).to_be_focused()
    page.keyboard.press("s")
    expect(page.get_by_text("Step 3 of")).to_be_visible()
    expect(page.get_by_label("Pass")).to_be_focused()
    page.keyboard.press("b")
    expect(page.get_by_text("Step 2 of")).to_be_visible()
    expect(page.get_by_label("Pass")).to_be_focused()
    acts.type_in(page, other.serial_number)
    expect(page.get_by_role("alert")).to_contain_text(f"This is {other}, but order {order} is for {device}")
    assert page.get_by_role("radio", checked=True).count() == 0
    assert not order.readings.exists()
    page.keyboard.press("Escape")
    page.wait_for_url(f"**/orders/{order}/")
