"""The main job as its people do it, each in a window: ward phone, bench, ward again, and the manager's view of it."""

import re
from datetime import date, timedelta

import pytest
from playwright.sync_api import Locator, Page, expect

from fleet.alerts.actions import ensure_kinds
from fleet.jobs.actions import raise_nightly
from fleet.jobs.models import Job
from fleet.jobs.timetable import BY_KIND
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.tags.models import Quarantine
from fleet.web import clock
from tests.batteries.builders import a_history
from tests.bench.builders import again, procedures
from tests.browser import acts
from tests.browser.conftest import OpenAs
from tests.builders import BY, a_bench
from tests.jobs.conftest import StartWorker
from tests.jobs.workers import Worker, wait_until
from tests.schedules.builders import a_plan, on

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


# The history's drivers were accepted on 1 March 2024: a yearly service is due on 1 March 2025, within 30 days.
WITHIN_ITS_WINDOW = date(2025, 3, 15)


@pytest.fixture
def device(ward_nurse: Person, technician: Person, manager: Person) -> Device:
    """Give a driver of Ward 4 whose yearly service is late, one of twelve that were tested each year."""
    ensure_kinds(BY)
    a_bench()
    procedures()
    drivers = a_history()
    with on(WITHIN_ITS_WINDOW):
        a_plan()
    return drivers[0]


# What the driver's timeline must hold of the job: the act, what came of it, and who did it.
ENTRIES = (
    ("Became late", "job roll_dues"),
    ("Tagged out of use", "label of "),
    ("Raised tag", "It asked for maintenance", "label of "),
    ("Alert recorded", "Asked for maintenance", "label of "),
    ("Made due now", "label of "),
    ("Received on the bench", "Tova Lindqvarn"),
    ("Answered", "Step 2: 9,5 %, fail", "Tova Lindqvarn"),
    ("Answered", "Step 2: 1.2 %, pass", "Tova Lindqvarn"),
    ("Logged runtime test", "Minutes: 366", "Tova Lindqvarn", "entered late"),
    ("Alert answered", "Tova Lindqvarn"),
    ("Due done", "Late since", "Tova Lindqvarn"),
    ("Completed order", "Outcome: No fault found", "Tova Lindqvarn"),
    ("Completed order", "Outcome: Repaired", "What was found: Electronics or screen", "Tova Lindqvarn"),
    ("Returned to service", "In service", "Ward 4", "Tova Lindqvarn"),
    ("Cleared tag", "Tova Lindqvarn"),
)


def the_night(kind: str, worker: Worker) -> None:
    """Let the worker do a night's job of today."""
    job = raise_nightly(BY_KIND[kind], clock.today())
    wait_until(lambda: Job.objects.get(pk=job.pk).state == Job.State.DONE, f"the end of {job}", worker)


def stands_above(one: Locator, other: Locator) -> bool:
    upper, lower = one.bounding_box(), other.bounding_box()
    assert upper is not None
    assert lower is not None
    return upper["y"] + upper["height"] <= lower["y"]


def test_from_the_ward_over_the_bench_to_the_ward(
    device: Device,
    open_as: OpenAs,
    start_worker: StartWorker,
    *,
    technician: Person,
    ward_nurse: Person,
    manager: Person,
) -> None:
    """A late driver that asks for maintenance is tagged, repaired, tested, serviced, back, and every page says so."""
    worker = start_worker("--pool=solo")
    the_night("roll_dues", worker)
    desk = open_as(manager)
    late_before_the_job(desk, device)
    number = the_ward_tags_it(open_as(**acts.PHONE), device)
    bench = open_as()
    acts.sign_in(bench, technician.username)
    order = the_bench_repairs_it(bench, device, number)
    the_bench_tests_its_battery(bench, device)
    the_bench_services_it(bench, device)
    the_bench_returns_it(bench, device, order)
    the_night("refresh_forecasts", worker)
    the_ward_sees_it_back(open_as(ward_nurse, **acts.PHONE), device)
    the_manager_sees_all_of_it(desk, device, number)


def late_before_the_job(desk: Page, device: Device) -> None:
    """The night has found its service late, and the manager sees it on the list."""
    desk.goto(f"/schedules/overdue/?q={device}")
    expect(desk.get_by_role("link", name=str(device))).to_be_visible()


def the_ward_tags_it(phone: Page, device: Device) -> str:
    """Without an account; cautions first; nine touches and three lines; the number is on the page and on the slip."""
    acts.open_label(phone, device)
    assert stands_above(phone.get_by_role("heading", name="First the patient"), phone.locator("form#report"))
    expect(phone.get_by_text("Never return a tagged driver to use yourself")).to_be_visible()
    number = acts.report(phone, "It asked for maintenance", harm="No", alert="Asked for maintenance")
    expect(phone.get_by_text("Write this on the paper tag")).to_be_visible()
    phone.get_by_role("link", name="Slip to print or copy").tap()
    expect(phone.locator(".sheet-number")).to_have_text(number)
    assert again(device).condition == "out_of_use"
    return number


def the_bench_repairs_it(bench: Page, device: Device, number: str) -> str:
    """Seen in the queue, received by its tag's number; a failed reading stops its return, a passing one allows it."""
    expect(bench.get_by_role("heading", name="Bench queue")).to_be_visible()
    expect(bench.get_by_role("row", name=str(device))).to_contain_text("tag")
    acts.receive(bench, number)
    order = bench.url
    acts.work_steps(bench, "9,5")
    expect(bench.get_by_text("1 that must pass has failed")).to_be_visible()
    bench.keyboard.press("g")
    expect(bench.get_by_text("1 required step has failed")).to_be_visible()
    acts.finish(bench, 1)
    expect(bench.get_by_role("alert")).to_contain_text("required step has failed")
    assert again(device).condition == "on_bench"
    bench.goto(order)
    bench.get_by_role("link", name="2. Delivery error").press("Enter")
    acts.answer_reading(bench, 2, "1.2")
    expect(bench.get_by_text("failed before (9,5 %, fail) and passes now")).to_be_visible()
    bench.get_by_label("What changed since it failed").fill("Drive cleaned")
    bench.keyboard.press("Enter")
    expect(bench.get_by_text("Every step is answered")).to_be_visible()
    return order


def the_bench_tests_its_battery(bench: Page, device: Device) -> None:
    """From the battery on the order's page to a logged test by Enter alone: 6 h 6 min of 7 h."""
    bench.get_by_role("link", name="Log a runtime test").press("Enter")
    yesterday = clock.today() - timedelta(days=1)
    bench.get_by_label("Day of the start").fill(yesterday.isoformat())
    bench.get_by_label("Started at").focus()
    for typed in ("0800", "1406", "", "1350"):
        acts.type_in(bench, typed)
    bench.keyboard.press("Enter")
    expect(bench.get_by_role("button", name="Log this test")).to_be_focused()
    bench.keyboard.press("Enter")
    expect(bench.locator(".battery-worth")).to_contain_text("87.1")


def the_bench_services_it(bench: Page, device: Device) -> None:
    """Scanned again for its planned service, which is done before the repair's order ends."""
    acts.receive(bench, str(device), kind="Planned service")
    acts.work_steps(bench, "0.4")
    acts.finish(bench, 2, stays=True)
    bench.wait_for_url("**/bench/")


def the_bench_returns_it(bench: Page, device: Device, order: str) -> None:
    """The repair ends with outcome and finding, and the driver goes back to its ward."""
    bench.goto(order)
    acts.finish(bench, 1, "Electronics or screen")
    bench.wait_for_url("**/bench/")
    expect(bench.get_by_role("status")).to_contain_text(f"{device} goes back to {device.home}")
    expect(bench.get_by_text("Nothing waits for the bench.")).to_be_visible()


def the_ward_sees_it_back(phone: Page, device: Device) -> None:
    """Among those that came back, and its label says that no tag is open."""
    phone.goto("/tags/ours/")
    expect(phone.locator("li.card", has_text=str(device))).to_contain_text("In service")
    acts.open_label(phone, device)
    expect(phone.get_by_text("No tag is open")).to_be_visible()


def the_manager_sees_all_of_it(desk: Page, device: Device, number: str) -> None:
    """Nothing is late or open any more, the night's jobs are done, and one timeline tells who did what and when."""
    desk.goto(f"/schedules/overdue/?q={device}")
    expect(desk.get_by_role("link", name=str(device))).to_have_count(0)
    desk.goto("/reports/")
    for label in ("In quarantine", "Open alerts", "With an open tag"):
        expect(desk.locator(".stats li", has_text=label)).to_contain_text("0")
    desk.goto("/jobs/")
    expect(desk.get_by_role("row", name="Forecast what each battery").first).to_contain_text("12 forecast")
    desk.goto(f"/devices/{device}/")
    expect(desk.get_by_text("87", exact=False).first).to_be_visible()
    told = whole_timeline(desk)
    assert [entry for entry in ENTRIES if not any(all(words in line for words in entry) for line in told)] == []
    assert all(re.search(r"\d{1,2} [A-Z][a-z]{2} \d{4} \d\d:\d\d", line) for line in told)


def whole_timeline(desk: Page) -> list[str]:
    """Every entry of the timeline of the page, older ones too, each as one line."""
    entries = desk.locator("ol.timeline > li")
    while desk.locator(".older").count():
        shown = entries.count()
        desk.locator(".older a").click()
        expect(entries.nth(shown)).to_be_visible()
    return [" ".join(text.split()) for text in entries.all_inner_texts()]


def test_possible_harm_holds_the_driver_until_a_manager_releases_it_and_two_have_looked(
    device: Device,
    open_as: OpenAs,
    technician: Person,
    second_technician: Person,
    manager: Person,
) -> None:
    """Unsure about harm means: keep it as it is, no work, a manager's reason to lift, a second person at the end."""
    number = the_ward_is_not_sure(open_as(**acts.PHONE), device)
    first = open_as(technician)
    order = the_bench_may_only_keep_it(first, number)
    the_manager_lifts_the_quarantine(open_as(manager), device, manager)
    one_finds_nothing_and_may_not_decide_it(first, order)
    another_decides_it(open_as(second_technician), order)
    assert again(device).condition == "in_service"


def the_ward_is_not_sure(phone: Page, device: Device) -> str:
    """The instructions stand there at the tap already, on the page with the number, and on the slip."""
    acts.open_label(phone, device)
    keep = phone.get_by_role("heading", name="Keep this driver exactly as it is")
    expect(keep).to_be_hidden()
    acts.tap(phone, "Was anyone harmed", "Not sure")
    expect(keep).to_be_visible()
    number = acts.report(phone, "It gave too much or too little", harm="Not sure")
    expect(keep).to_be_visible()
    phone.get_by_role("link", name="Slip to print or copy").tap()
    expect(phone.get_by_text("KEEP AS IT IS.")).to_be_visible()
    return number


def the_bench_may_only_keep_it(bench: Page, number: str) -> str:
    """It is received into custody, not by Enter unread; no step can be answered, nor the order finished."""
    button = acts.scan(bench, number)
    expect(bench.get_by_role("heading", name="Quarantine: keep it as it is")).to_be_visible()
    expect(button).not_to_be_focused()
    button.press("Enter")
    bench.wait_for_url("**/orders/**")
    expect(bench.get_by_role("heading", name="Quarantine: no work on this driver")).to_be_visible()
    expect(bench.locator("form#answer")).to_have_count(0)
    order = bench.url
    bench.goto(f"{order}finish/")
    expect(bench.get_by_text("A quarantine is open")).to_be_visible()
    acts.finish(bench, 2)
    expect(bench.get_by_role("alert")).to_contain_text("quarantine is open")
    return order


def the_manager_lifts_the_quarantine(desk: Page, device: Device, manager: Person) -> None:
    """From the list to the record, and released with the reason that stands there from then on."""
    desk.goto("/tags/quarantines/")
    desk.get_by_role("link", name=str(device)).first.click()
    desk.get_by_label("Who released it").fill("Released by the incident group, decision 14.")
    desk.get_by_role("button", name="Lift the quarantine").click()
    expect(desk.get_by_text("Released by the incident group, decision 14.").first).to_be_visible()
    row = Quarantine.objects.get(device=device)
    assert (row.lifted_by, row.lifted_why) == (manager, "Released by the incident group, decision 14.")


def one_finds_nothing_and_may_not_decide_it(bench: Page, order: str) -> None:
    """Whoever answered the steps cannot say alone that nothing is wrong."""
    bench.goto(order)
    acts.work_steps(bench, "0.4")
    acts.finish(bench, 2)
    expect(bench.get_by_role("alert")).to_contain_text("needs a second person")


def another_decides_it(bench: Page, order: str) -> None:
    """A second technician finishes it."""
    bench.goto(order)
    acts.finish(bench, 2, "Nothing wrong")
    bench.wait_for_url("**/bench/")
    expect(bench.get_by_role("status")).to_contain_text("no fault found")
