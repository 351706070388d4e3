"""Each page of the product, opened by each role on a phone: it fits, it is silent, and everybody can use it."""

from collections.abc import Iterator
from datetime import date
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from playwright.sync_api import Page

from fleet.exchange import actions as exchange
from fleet.people.models import Person
from fleet.people.queries import actor_for
from tests.browser.addresses import addresses
from tests.browser.conftest import OpenAs

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

WIDTH = 390
AXE = Path(settings.BASE_DIR) / "tests" / "vendor" / "axe-core-4.14.1" / "axe.min.js"
ROLES = ("ward", "storekeeper", "technician", "manager", "administrator")
UNTIL = date(2026, 3, 18)

#: Gives what is wrong with the page as a list of words.
LOOK = """
() => {
  const wrong = [];
  const { scrollWidth, clientWidth } = document.documentElement;
  if (scrollWidth > clientWidth) {
    const reaches = (element) => element.getBoundingClientRect().right > clientWidth + 1;
    const widest = [...document.querySelectorAll("main *")].filter(reaches).pop();
    wrong.push(`${scrollWidth} px wide: ${widest?.outerHTML.slice(0, 120)}`);
  }
  const titles = document.querySelectorAll("h1").length;
  if (titles !== 1) wrong.push(`${titles} titles of the first order`);
  return wrong;
}
"""
#: The rules of WCAG 2.2 to level AA that a program can check, by axe-core.
ASK_AXE = """
async () => {
  const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
  const { violations } = await axe.run({ runOnly: tags, resultTypes: ["violations"] });
  return violations.map((rule) => `${rule.id}: ${rule.nodes.map((node) => node.html.slice(0, 120)).join(" | ")}`);
}
"""


@pytest.fixture
def people() -> dict[str, Person]:
    """Give one person of each role in a small demonstration hospital, in which a file was sent in, too."""
    call_command("demo", devices=40, seed=5, until=UNTIL, stdout=StringIO(), stderr=StringIO())
    found = {role: Person.objects.get(username=role) for role in ROLES}
    sending = exchange.Sending(kind="devices", file_name="devices.csv", content=b"asset_number;type\nX1;unknown\n")
    intake = exchange.send(sending, by=actor_for(found["manager"]), enqueued=False)
    exchange.check(intake.pk, progress=lambda _done, _total: None)
    return found


def whole_pages(person: Person, *, thorough: bool) -> Iterator[str]:
    """The addresses that answer this person with a whole page, neither a file nor a part of a page."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    for address in addresses(person, thorough=thorough):
        answer = client.get(address)
        assert answer.status_code < 500, address
        is_page = answer.status_code == 200 and answer["Content-Type"].startswith("text/html")
        if is_page and answer.content.lstrip().lower().startswith(b"<!doctype"):
            yield address


def wrong_with(page: Page, address: str, *, with_axe: bool) -> list[str]:
    page.goto(address)
    wrong = page.evaluate(LOOK)
    if with_axe:
        page.evaluate(AXE.read_text(encoding="utf-8"))
        wrong += page.evaluate(ASK_AXE)
    return [f"{address}: {words}" for words in wrong]


def test_each_page_fits_a_phone_and_is_accessible_for_each_role(people: dict[str, Person], open_as: OpenAs) -> None:
    """No page scrolls sideways at 390 px, none complains, each has one title and breaks no rule of axe-core."""
    wrong: list[str] = []
    for role, person in people.items():
        page = open_as(person, width=WIDTH)
        # Who may do everything sees every page in every state; the others look at each page of theirs once.
        thorough = role == "administrator"
        for address in whole_pages(person, thorough=thorough):
            wrong += [f"{role}, {words}" for words in wrong_with(page, address, with_axe=thorough or role == "ward")]
    assert not wrong, "\n".join(wrong)
