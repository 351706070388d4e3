"""Nothing typed at a step is lost: not without a connection, not after the sign-in has ended, and never to another."""

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from fleet.bench import actions as bench
from fleet.bench.models import Order, Reading
from fleet.people.models import Person
from tests.bench.builders import fresh, put, received
from tests.bench.builders import step as step_of
from tests.browser import acts
from tests.browser.conftest import OpenAs
from tests.builders import PASSWORD, a_device

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def order(technician: Person, second_technician: Person) -> Order:
    """Give a repair of four steps on the bench; step 1 is answered."""
    order = received(a_device(), technician, kind="corrective", decontamination="cleaned")
    put(order, 1, bench.Answer(passed=True), technician)
    return fresh(order)


def at_work(page: Page, order: Order) -> Page:
    """The order, one step at a time."""
    page.goto(f"/bench/orders/{order}/stepwise/")
    expect(page.get_by_text("Step 2 of 4")).to_be_visible()
    expect(page.get_by_label("Reading")).to_be_focused()
    return page


def typed(order: Order) -> list[str]:
    """The readings that the server has at step 2."""
    return list(Reading.objects.filter(order=order, step__position=2).values_list("as_typed", flat=True))


def test_answers_wait_for_the_connection_and_are_sent_in_order_each_once(
    open_as: OpenAs, order: Order, technician: Person
) -> None:
    """Three steps worked without a connection, the page itself leading on; back online each is saved once."""
    page = at_work(open_as(technician), order)
    page.context.set_offline(True)
    acts.type_in(page, "1.5")
    expect(page.get_by_text("No connection. 1 kept on this screen")).to_be_visible()
    acts.answer_check(page, 3, "n", "came alone")
    expect(page.get_by_text("No connection. 2 kept on this screen")).to_be_visible()
    acts.answer_note(page, 4, "2.4.1")
    expect(page.get_by_text("No connection. 3 kept on this screen")).to_be_visible()
    page.get_by_role("link", name="Back").click()
    expect(page.get_by_text("Step 3 of 4")).to_be_visible()
    assert Reading.objects.filter(order=order).count() == 1
    page.context.set_offline(False)
    expect(page.get_by_text(f"Order {order}, step 4: saved at")).to_be_visible(timeout=15000)
    expect(page.locator(".kept-one")).to_have_count(0)
    answers = Reading.objects.filter(order=order).order_by("pk").values_list("step__position", "verdict", "by")
    assert list(answers) == [
        (1, "pass", technician.pk), (2, "pass", technician.pk), (3, "na", technician.pk), (4, "pass", technician.pk)
    ]  # fmt: skip


def test_an_answer_whose_reply_was_lost_is_not_saved_twice(open_as: OpenAs, order: Order, technician: Person) -> None:
    """The server had saved it, the reply never came: sent again it is recognised."""
    page = at_work(open_as(technician), order)
    lost = []

    def lose(route: object) -> None:
        lost.append(route.fetch().status)
        route.abort()

    page.route("**/steps/2/**", lose, times=1)
    acts.type_in(page, "1.5")
    expect(page.get_by_text("No connection. 1 kept on this screen")).to_be_visible()
    assert (lost, typed(order)) == ([200], ["1.5"])
    expect(page.get_by_text(f"Order {order}, step 2: saved at")).to_be_visible(timeout=20000)
    assert typed(order) == ["1.5"]


def test_kept_answers_outlive_the_page(open_as: OpenAs, order: Order, technician: Person) -> None:
    """A screen that was switched off in between sends what it kept when the order is opened again."""
    page = at_work(open_as(technician), order)
    page.context.set_offline(True)
    acts.type_in(page, "1.5")
    expect(page.get_by_text("1 kept on this screen")).to_be_visible()
    page.close()
    context = page.context
    context.set_offline(False)
    again = context.new_page()
    again.goto(f"/bench/orders/{order}/")
    expect(again.get_by_text(f"Order {order}, step 2: saved at")).to_be_visible()
    assert typed(order) == ["1.5"]


def test_after_an_expired_sign_in_the_answer_is_offered_to_the_same_person(
    open_as: OpenAs, order: Order, technician: Person
) -> None:
    """The session ended: the answer survives the sign-in page, is not sent unasked, and is saved by one press."""
    page = at_work(open_as(technician), order)
    Session.objects.all().delete()
    acts.type_in(page, "1.5")
    expect(page.get_by_text("You are signed out. What you typed is kept on this screen")).to_be_visible()
    page.get_by_role("link", name="Sign in to send it").click()
    page.locator("[name=username]").fill(technician.username)
    page.locator("[name=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_text("Kept on this screen from before you signed in")).to_be_visible()
    assert typed(order) == []
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_text(f"Order {order}, step 2: saved at")).to_be_visible()
    assert (typed(order), Reading.objects.get(as_typed="1.5").by) == (["1.5"], technician)


def test_what_one_typed_is_never_sent_by_another(
    open_as: OpenAs, order: Order, technician: Person, second_technician: Person
) -> None:
    """A colleague signs in on the same screen: whose answer it is stands there, and nothing can be sent by them."""
    page = at_work(open_as(technician), order)
    Session.objects.all().delete()
    acts.type_in(page, "1.5")
    page.get_by_role("link", name="Sign in to send it").click()
    page.locator("[name=username]").fill(second_technician.username)
    page.locator("[name=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_text(f"Kept on this screen, typed by {technician}")).to_be_visible()
    expect(page.get_by_role("button", name="Send it")).to_have_count(0)
    expect(page.get_by_label("Reading")).to_have_value("")
    assert typed(order) == []


def test_what_is_not_accepted_says_why_and_keeps_the_typing(open_as: OpenAs, order: Order, technician: Person) -> None:
    """A value that is no number stands in the field with the reason; corrected, it is saved."""
    page = at_work(open_as(technician), order)
    acts.type_in(page, "about 5")
    expect(page.get_by_text("not accepted because")).to_contain_text("is not a number")
    expect(page.get_by_label("Reading")).to_have_value("about 5")
    page.get_by_label("Reading").fill("4.5")
    page.get_by_label("Reading").press("Enter")
    expect(page.get_by_text(f"Order {order}, step 2: saved at")).to_be_visible()
    assert typed(order) == ["4.5"]


def test_two_technicians_on_one_order(
    open_as: OpenAs, order: Order, technician: Person, second_technician: Person
) -> None:
    """Each sees the other there; who saves second is shown both values and chooses, and both stay on record."""
    mine, theirs = at_work(open_as(technician), order), at_work(open_as(second_technician), order)
    expect(theirs.get_by_text(f"{technician} has this order open too, at step 2")).to_be_visible()
    acts.type_in(mine, "1.5")
    expect(mine.get_by_text("Step 3 of 4")).to_be_visible()
    expect(theirs.get_by_text("answered step 2")).to_be_visible(timeout=20000)
    theirs.get_by_label("Reading").focus()
    acts.type_in(theirs, "9.25")
    expect(theirs.get_by_role("heading", name="Two answers")).to_be_visible()
    expect(theirs.locator("#step")).to_contain_text(f"Saved, by {technician}")
    expect(theirs.get_by_label("Reading")).to_have_value("9.25")
    assert typed(order) == ["1.5"]
    theirs.get_by_role("button", name="Let mine count").click()
    expect(theirs.get_by_text("Step 3 of 4")).to_be_visible()
    assert Reading.objects.get(step=step_of(order, 2), latest=True).as_typed == "9.25"
    assert sorted(typed(order)) == ["1.5", "9.25"]
    expect(mine.get_by_text("answered step 2: 9.25 %, fail")).to_be_visible(timeout=20000)
