"""A technician's day at the bench, driven in a browser: what each task costs in clicks, keys and seconds.

Run it with `-s` to read the costs. What must hold at the end of the day is asserted; how long it took is not.
"""

import time
from collections.abc import Callable, Iterable

import pytest
from playwright.sync_api import Page, expect

from fleet.batteries.models import RuntimeTest
from fleet.bench.models import Order
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds.models import RoundStop
from fleet.stores.models import Instrument
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_logged_test
from tests.bench.builders import again, procedures
from tests.browser.acts import PHONE, answer_check, answer_note, receive, type_in
from tests.browser.conftest import OpenAs
from tests.builders import PASSWORD, a_bench, a_device, a_ward
from tests.rounds.builders import a_due_driver
from tests.stores.builders import an_instrument
from tests.tags.builders import an_open_tag

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FIVE = 5
RACK = 4
#: Counts what a person does in a window, over all its pages. A scanner's keys count as keys.
_COUNTING = """
for (const kind of ["click", "keydown"]) addEventListener(kind, event => {
  const counts = event.isTrusted && (kind !== "click" || event.detail);
  if (counts) sessionStorage.setItem(kind, Number(sessionStorage.getItem(kind) || 0) + 1);
}, true);
"""


class Stopwatch:
    """What each task of the day cost in one window."""

    def __init__(self, page: Page) -> None:
        """Count from now on."""
        self.page = page
        page.add_init_script(_COUNTING)

    def counted(self) -> tuple[int, int]:
        """Clicks and keys so far. Enter on a button counts as a key alone."""
        clicks, keys = (
            int(self.page.evaluate(f"sessionStorage.getItem('{kind}') || 0")) for kind in ("click", "keydown")
        )
        return clicks, keys

    def time(self, task: str, act: Callable[[], None], each: int = 1) -> None:
        """Do a task and print what it cost, for all and for each of so many."""
        before, began = self.counted(), time.monotonic()
        act()
        seconds, after = time.monotonic() - began, self.counted()
        clicks, keys = (late - early for early, late in zip(before, after, strict=True))
        print(  # noqa: T201 - the costs are what one runs this for
            f"\n{task}: {clicks} clicks, {keys} keys, {seconds:.1f} s; each {clicks / each:.1f}, {keys / each:.1f}, "
            f"{seconds / each:.1f} s",
            end="",
        )


def repair(page: Page, tag: str, analyser: str) -> None:
    """Receive a tagged driver, work its steps and return it, signed; the analyser is named once and then remembered."""
    receive(page, tag)
    answer_check(page, 1, "p")
    expect(page.get_by_label("Reading")).to_be_focused()
    page.keyboard.type("-1.5")
    if analyser:
        page.keyboard.press("i")
        expect(page.locator("#id_instrument")).to_be_focused()
        page.keyboard.type(analyser)
        page.get_by_label("Reading").focus()
    page.keyboard.press("Enter")
    answer_check(page, 3, "n", "came alone")
    answer_note(page, 4, "2.4.1")
    expect(page.get_by_role("link", name="Finish this order")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/finish/")
    page.keyboard.press("1")
    page.keyboard.press("w")
    expect(page.get_by_label("What you did")).to_be_focused()
    page.keyboard.type("Cleaned.")
    password = page.get_by_label("Your password")
    while password.evaluate("field => field !== document.activeElement"):
        page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.get_by_text("is done: repaired")).to_be_visible()


def repair_all(page: Page, tags: Iterable[str], analyser: str) -> None:
    """Repair one driver after the other."""
    for at, tag in enumerate(tags):
        repair(page, tag, "" if at else analyser)


def log_rack(page: Page, devices: list[Device]) -> None:
    """Log a rack of runtime tests: the start, then driver and stop each, with Enter between."""
    page.goto("/batteries/rack/")
    expect(page.locator("[name=started_at]")).to_be_focused()
    page.locator("[name=started_on]").fill("2026-03-03")
    page.locator("[name=started_at]").focus()
    type_in(page, "0800")
    for row, device in enumerate(devices, start=1):
        expect(page.locator(f"[name=row{row}-driver]")).to_be_focused()
        for cell in (device.asset_number, f"13:{20 + row}", "1255", ""):
            type_in(page, cell)
    page.locator("button.primary").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"{len(devices)} tests logged together")).to_be_visible()


def walk(phone: Page, taken: Device, busy: Device, slipped: Device, lost: Device) -> None:
    """Walk a ward: one taken, one in use, one answered wrongly and put right, one not found; then its end."""
    phone.goto("/rounds/")
    phone.get_by_label("Place").select_option(label="Ward 5, Mereford General")
    phone.get_by_role("button", name="Begin this round").tap()
    scan(phone, taken)
    phone.get_by_role("button", name=f"Take {taken} to the bench").tap()
    scan(phone, busy)
    phone.get_by_role("button", name="In use on a patient").tap()
    scan(phone, slipped)
    phone.get_by_role("button", name="The ward keeps it").tap()
    phone.get_by_role("button", name=f"Undo: {slipped}").tap()
    phone.get_by_role("button", name="In use on a patient").tap()
    phone.get_by_role("link", name=lost.asset_number).tap()
    phone.get_by_role("button", name="Looked for, not found").tap()
    expect(phone.get_by_text("4 of 4", exact=True)).to_be_visible()
    phone.get_by_role("link", name="End this round").tap()
    phone.get_by_role("button", name="End this round").tap()
    expect(phone.get_by_text("The round of Ward 5 has ended")).to_be_visible()


def scan(phone: Page, device: Device) -> None:
    """Scan a driver where the focus stands."""
    expect(phone.locator("#code")).to_be_focused()
    with phone.expect_navigation():
        type_in(phone, device.asset_number)


def find_out(page: Page, instrument: Instrument) -> None:
    """Record that the analyser came back out of its limits, and raise the rechecks it asks for."""
    page.goto(f"/instruments/{instrument.pk}/")
    page.get_by_label("Calibrated on").fill(f"{clock.today():%Y-%m-%d}")
    page.get_by_label("Certificate number").fill("C-0815")
    page.get_by_label("By which laboratory").fill("Ostrel Calibration")
    page.locator("[name=as_found][value=out]").check()
    page.get_by_label("What was found").fill("Reads 3 % low")
    page.get_by_role("button", name="Record the calibration").click()
    if not page.url.endswith("/trace/"):
        page.get_by_role("link", name="What was measured with it").first.click()
    page.get_by_label("Found off by").fill("20 %")
    page.keyboard.press("Enter")
    page.get_by_label("The drivers chosen are to be measured again").check()
    page.get_by_role("button", name="Raise recheck orders for the ticked drivers").click()
    expect(page.get_by_text("Recheck order").first).to_be_visible()


@pytest.fixture
def tagged() -> dict[str, Device]:
    """Five tagged drivers by the number of their tag."""
    procedures()
    a_bench()
    devices = [a_device() for _ in range(FIVE)]
    return {an_open_tag(device, words="It stopped.").number: device for device in devices}


def test_a_day_at_the_bench(technician: Person, tagged: dict[str, Device], open_as: OpenAs) -> None:
    """Five drivers are back, four tests logged, a ward walked, and what a bad analyser measured is to be rechecked."""
    analyser = an_instrument(number="FLO-01", kind="other")
    rack = [a_fitted_device(home=a_ward("Ward 7")) for _ in range(RACK)]
    a_logged_test(rack[0])
    ward = [a_due_driver(a_ward("Ward 5")) for _ in range(4)]
    page = open_as(technician)
    watch = Stopwatch(page)
    page.goto("/bench/")
    watch.time("Five tagged drivers", lambda: repair_all(page, tagged, analyser.number), FIVE)
    assert {again(device).condition for device in tagged.values()} == {"in_service"}

    watch.time("A rack of battery tests", lambda: log_rack(page, rack), RACK)
    assert RuntimeTest.objects.filter(started_at__date="2026-03-03", pack__fittings__device__in=rack).count() == RACK

    phone = open_as(technician, **PHONE)
    on_phone = Stopwatch(phone)
    phone.goto("/")
    on_phone.time("A round of one ward", lambda: walk(phone, *ward), len(ward))
    whats = RoundStop.objects.filter(latest=True)
    assert [whats.get(device=each).what for each in ward] == ["taken", "in_use", "in_use", "not_found"]

    measured = [order.device for order in Order.objects.filter(readings__instrument=analyser).distinct()]
    assert len(measured) == FIVE
    watch.time("An instrument out of its limits", lambda: find_out(page, analyser), len(measured))
    rechecks = Order.objects.filter(state="raised", device__in=measured)
    assert rechecks.count() == len(measured)
