"""The manager's numbers, and that each of them equals the rows behind its link."""

import re
from datetime import timedelta
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from fleet.people.models import Person
from fleet.reports.queries import Standing, Wanting, overview, standing_so
from fleet.reports.tiles import groups
from fleet.web import clock
from tests.builders import a_device, a_ward
from tests.reports.builders import NOW, TODAY, a_fleet, signed_in, things_wanting, words
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db
OVERVIEW = "/reports/"


def rows_behind(client: Client, url: str) -> int:
    """How many rows the page of a link lists, over all its pages."""
    rows, number = 0, 1
    while True:
        answer = client.get(f"{url}{'&' if urlsplit(url).query else '?'}page={number}")
        assert answer.status_code == 200, url
        rows += _rows(answer)
        if b'rel="next"' not in answer.content:
            return rows
        number += 1


def _rows(answer: object) -> int:
    """Rows of a table, or what a page that is none says or links."""
    table = answer.context.get("table")
    if table is not None:
        return len(list(table.paginated_rows)) if hasattr(table, "page") else len(table.rows)
    for said in ("many", "count"):
        if said in answer.context:
            return answer.context[said]
    linked = r'href="/(?:tags/quarantines|loans)/\d+/"|Waits for approval'
    return len(re.findall(linked, answer.content.decode()))


def test_each_number_equals_the_rows_behind_it(technician: Person, manager: Person) -> None:
    """Every tile of the overview is followed, and as many rows stand there as it says."""
    a_fleet(technician)
    things_wanting(technician)
    with clock.at(NOW):
        client = signed_in(manager)
        tiles = [tile for group in client.get(OVERVIEW).context["groups"] for tile in group.tiles]
        assert {tile.label: rows_behind(client, tile.url) for tile in tiles} == {
            tile.label: tile.number for tile in tiles
        }
        assert sum(tile.number > 0 for tile in tiles) >= 17


def test_the_numbers_are_those_of_the_fleet(technician: Person, manager: Person) -> None:
    """One driver was put in each state, and is counted there."""
    drivers = a_fleet(technician)
    with clock.at(NOW):
        numbers = overview(manager, TODAY)
        behind = {standing: set(standing_so(manager, standing)) for standing in Standing}
    assert sum(numbers.late.values()) == 1
    assert numbers.coming == 1
    assert (numbers.quarantines, numbers.alerts) == (1, 1)
    assert behind[Standing.BENCH] == {drivers["bench"]}
    assert behind[Standing.PARTS] == {drivers["waiting"]}
    assert behind[Standing.TAGGED] == {drivers["tagged"], drivers["harmed"]}
    assert behind[Standing.NEVER_READ] == set(drivers.values()) - {drivers["soon"]}
    assert (numbers.batteries.will_not_last, numbers.batteries.already_below) == (1, 1)
    assert numbers.batteries.never_tested == 1


def test_what_else_waits_is_told_to_whoever_may_open_its_list(
    technician: Person, manager: Person, storekeeper: Person, outsider: Person
) -> None:
    """Each stands on a manager's first page; what belongs to another site is not counted, nor what one may not open."""
    things_wanting(technician)
    with clock.at(NOW):
        # Safety notices are counted in tests/notices/test_pages.py.
        none = dict.fromkeys((Wanting.NOTICES, Wanting.NOTICES_LATE), 0)
        assert overview(manager, TODAY).wanting == {**dict.fromkeys(Wanting, 1), **none}
        assert "Procedures waiting for approval" in signed_in(manager).get("/", follow=True).content.decode()
        assert overview(outsider, TODAY).wanting == {
            **dict.fromkeys(Wanting, 0),
            # Of the whole house, whoever's places they are.
            Wanting.PROCEDURES: 1,
            Wanting.LIMITS: 1,
        }
        assert Wanting.PROCEDURES not in overview(storekeeper, TODAY).wanting


def test_only_harm_and_lateness_shout(technician: Person, manager: Person) -> None:
    """A tile is red for a quarantine and amber for what is late; nought shouts never, and nothing else at all."""
    with clock.at(NOW):
        assert {tile.kind for group in groups(overview(manager, TODAY)) for tile in group.tiles} == {""}
        a_fleet(technician)
        tiles = [tile for group in groups(overview(manager, TODAY)) for tile in group.tiles]
    assert {tile.label for tile in tiles if tile.kind == "harm"} == {"In quarantine"}
    assert {tile.label for tile in tiles if tile.kind == "late"} == {"Late, 1 to 30 days"}


def test_the_outsider_counts_nothing(technician: Person, outsider: Person) -> None:
    """A manager of another site sees nought everywhere."""
    a_fleet(technician)
    with clock.at(NOW):
        assert {tile.number for group in groups(overview(outsider, TODAY)) for tile in group.tiles} == {0}


def test_the_oldest_tag_is_told_and_listed_first(manager: Person) -> None:
    """The tag that is open longest stands in words above and first in its list."""
    with clock.at(NOW - timedelta(days=20)):
        an_open_tag(a_device(asset_number="OLD-1"))
    with clock.at(NOW):
        an_open_tag(a_device(asset_number="NEW-1"))
        assert "The oldest open tag is from <time" in words(manager, OVERVIEW)
        listed = words(manager, reverse("reports:drivers", args=["tagged"]))
    assert listed.index("OLD-1") < listed.index("NEW-1")
    assert "5 Nov 2026, 2 weeks ago" in listed


def test_a_list_that_is_none_is_no_page(manager: Person) -> None:
    """Only the named lists exist."""
    assert signed_in(manager).get(reverse("reports:drivers", args=["everything"])).status_code == 404


def test_the_overview_is_for_who_sees_reports(ward_nurse: Person, storekeeper: Person) -> None:
    """Neither ward nor store reads the manager's numbers."""
    for person in (ward_nurse, storekeeper):
        assert signed_in(person).get(OVERVIEW).status_code == 403
        assert signed_in(person).get(reverse("reports:drivers", args=["bench"])).status_code == 403


def test_the_overview_asks_the_same_of_the_database_however_large_the_fleet(
    technician: Person, manager: Person, django_assert_max_num_queries: object
) -> None:
    """Thirty drivers cost no more questions than one."""
    a_fleet(technician)
    for number in range(30):
        an_open_tag(a_device(a_ward(f"Ward {number}")))
    client = signed_in(manager)
    with django_assert_max_num_queries(37):
        assert client.get(OVERVIEW).status_code == 200


def read(person: Person) -> str:
    """The overview as it is sent."""
    return signed_in(person).get(OVERVIEW).content.decode()


def test_an_empty_hospital_is_told_where_to_begin(administrator: Person, technician: Person) -> None:
    """Before the first driver, whoever keeps the register finds the first steps above the numbers; later no more."""
    beginning = read(administrator)
    assert "No driver is on record yet" in beginning
    for name in ("registry:places", "registry:types", "schedules:plans", "people:list", "deliveries:new"):
        assert f'href="{reverse(name)}"' in beginning.split("Planned work")[0].split("No driver is on record yet")[1]
    assert "No driver is on record at your places." in read(technician)
    a_device(asset_number="B1")
    assert "No driver is on record" not in read(administrator)
