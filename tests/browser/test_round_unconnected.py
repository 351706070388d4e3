"""A round on a phone that has no connection: what is scanned and tapped is kept, and sent once."""

import pytest
from playwright.sync_api import Error, Page, expect

from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds.models import Round, RoundStop
from tests.bench.builders import procedures
from tests.browser.acts import PHONE, type_in
from tests.browser.conftest import OpenAs
from tests.builders import a_bench, a_ward
from tests.rounds.builders import a_due_driver, a_round

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def drivers() -> list[Device]:
    """Two late drivers of Ward 4, and one of Ward 7 that somebody carried here."""
    procedures()
    a_bench()
    return [a_due_driver(a_ward()), a_due_driver(a_ward()), a_due_driver(a_ward("Ward 7"))]


@pytest.fixture
def walked(technician: Person, drivers: list[Device]) -> Round:
    """Today's round of Ward 4."""
    assert drivers
    return a_round(by=technician)


def on_the_ward(phone: Page, walked: Round) -> Page:
    """The round is loaded, then the connection is cut."""
    phone.goto(f"/rounds/{walked.pk}/")
    expect(phone.locator("#code")).to_be_focused()
    phone.context.set_offline(True)
    return phone


def scan(phone: Page, code: str) -> None:
    """Scan, and wait for the driver's card out of the loaded page."""
    phone.locator("#code").focus()
    type_in(phone, code)
    expect(phone.locator("#walk-title")).to_be_visible()


def answers() -> list[tuple[str, str]]:
    """Every answer that the server has, in the order it was given."""
    stops = RoundStop.objects.exclude(what="seen").order_by("pk")
    return list(stops.values_list("device__asset_number", "what"))


def test_two_drivers_are_answered_without_a_connection_and_each_once_on_record(
    open_as: OpenAs, walked: Round, drivers: list[Device], technician: Person
) -> None:
    """Cut off, two drivers are scanned and answered out of the loaded list; reconnected, each is answered once."""
    busy, lost, _ = drivers
    phone = on_the_ward(open_as(technician, **PHONE), walked)
    scan(phone, busy.serial_number)
    expect(phone.locator("#walk-title")).to_have_text(busy.asset_number)
    expect(phone.get_by_text("Ask the ward first")).to_be_visible()
    phone.locator("#walk-note").fill("Bed 3")
    phone.get_by_role("button", name="In use on a patient").tap()
    expect(phone.locator(f"[data-walk={busy.asset_number}]")).to_contain_text("In use on a patient: kept, not sent yet")
    phone.get_by_role("link", name=lost.asset_number).tap()
    phone.get_by_role("button", name="Looked for, not found").tap()
    expect(phone.locator(f"[data-walk={lost.asset_number}]")).to_contain_text("not found: kept, not sent yet")
    assert answers() == []
    phone.context.set_offline(False)
    expect(phone.get_by_text("2 of 2", exact=True)).to_be_visible(timeout=20000)
    expect(phone.locator(".kept-one")).to_have_count(0)
    assert answers() == [(busy.asset_number, "in_use"), (lost.asset_number, "not_found")]
    assert RoundStop.objects.get(what="in_use").note == "Bed 3"


def test_a_driver_that_is_not_on_the_list_is_kept_and_looked_up_when_sent(
    open_as: OpenAs, walked: Round, drivers: list[Device], technician: Person
) -> None:
    """One of another ward is answered by its serial; one that nobody knows says so and is not lost."""
    *_, strayed = drivers
    phone = on_the_ward(open_as(technician, **PHONE), walked)
    scan(phone, strayed.serial_number)
    expect(phone.get_by_text("It is not on the list that this phone has loaded")).to_be_visible()
    phone.get_by_role("button", name="In use on a patient").tap()
    scan(phone, "NIX99")
    phone.get_by_role("button", name="The ward keeps it").tap()
    phone.context.set_offline(False)
    expect(phone.get_by_text("No driver of your places is known as “NIX99”").first).to_be_visible(timeout=20000)
    assert answers() == [(strayed.asset_number, "in_use")]
    strayed.refresh_from_db()
    assert strayed.place == walked.place


def wait_until(phone: Page, holds: str) -> None:
    """Wait until a promise of the page gives what is true."""
    phone.evaluate(f"async () => {{ while (!(await ({holds}))) await new Promise((go) => setTimeout(go, 50)); }}")


def kept_page(phone: Page, walked: Round) -> Page:
    """The round is loaded, and the phone has put its page away."""
    phone.goto(f"/rounds/{walked.pk}/")
    wait_until(phone, "navigator.serviceWorker.controller && caches.match(location.pathname)")
    return phone


def test_a_page_loaded_anew_without_a_connection_is_the_one_of_before_and_goes_on(
    open_as: OpenAs, walked: Round, drivers: list[Device], technician: Person
) -> None:
    """The phone loads the page anew in a cellar: it is there, says of when, and what is answered is sent later."""
    phone = kept_page(open_as(technician, **PHONE), walked)
    phone.context.set_offline(True)
    phone.reload()
    expect(phone.get_by_text("This is the page as the phone loaded it at")).to_be_visible()
    scan(phone, drivers[0].serial_number)
    phone.get_by_role("button", name="In use on a patient").tap()
    kept = phone.locator(f"[data-walk={drivers[0].asset_number}]")
    expect(kept).to_contain_text("In use on a patient: kept, not sent yet")
    phone.goto(f"/rounds/{walked.pk}/?code={drivers[1].asset_number}")
    expect(kept).to_contain_text("In use on a patient: kept, not sent yet")
    phone.context.set_offline(False)
    expect(phone.get_by_text("1 of 2", exact=True)).to_be_visible(timeout=20000)
    expect(phone.locator("[data-walk-old]")).to_be_hidden()
    assert answers() == [(drivers[0].asset_number, "in_use")]


def test_signing_out_takes_the_page_off_the_phone(open_as: OpenAs, walked: Round, technician: Person) -> None:
    """Whoever takes the phone next finds no round on it."""
    phone = kept_page(open_as(technician, **PHONE), walked)
    phone.goto("/account/")
    phone.get_by_role("button", name="Menu").tap()
    phone.locator(".account summary").tap()
    phone.get_by_role("button", name="Sign out").tap()
    phone.wait_for_url("**/signed-out/")
    wait_until(phone, "caches.has('rounds').then((has) => !has)")
    phone.context.set_offline(True)
    with pytest.raises(Error):
        phone.goto(f"/rounds/{walked.pk}/")


def test_a_slip_is_dropped_before_it_is_sent(
    open_as: OpenAs, walked: Round, drivers: list[Device], technician: Person
) -> None:
    """A wrong tap without a connection is dropped on the phone and never reaches the record."""
    phone = on_the_ward(open_as(technician, **PHONE), walked)
    phone.get_by_role("link", name=drivers[0].asset_number).tap()
    phone.get_by_role("button", name="Looked for, not found").tap()
    phone.get_by_text("What is kept on this phone").tap()
    phone.get_by_role("button", name="Drop it").tap()
    expect(phone.locator(".walk-kept, .kept-one")).to_have_count(0)
    phone.context.set_offline(False)
    phone.reload()
    expect(phone.get_by_text("0 of 2", exact=True)).to_be_visible()
    assert answers() == []


def test_an_answer_whose_reply_was_lost_counts_once(
    open_as: OpenAs, walked: Round, drivers: list[Device], technician: Person
) -> None:
    """The server had it, the phone never heard: sent again it is the same answer."""
    busy = drivers[0]
    phone = open_as(technician, **PHONE)
    phone.goto(f"/rounds/{walked.pk}/?code={busy.asset_number}")
    lost = []

    def lose(route: object) -> None:
        lost.append(route.fetch().status)
        route.abort()

    phone.route("**/stop/**", lose, times=1)
    phone.get_by_role("button", name="In use on a patient").tap()
    expect(phone.get_by_text("1 of 2", exact=True)).to_be_visible(timeout=20000)
    assert (lost, answers()) == ([200], [(busy.asset_number, "in_use")])
