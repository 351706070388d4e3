"""The trail, searched by whoever may."""

from datetime import timedelta

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.actions import edit_device, see
from fleet.reports import queries
from fleet.web import clock
from tests.builders import BY, a_device, a_ward
from tests.reports.builders import file_rows, signed_in, words
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db
TRAIL, FILE = "/reports/trail/", "/reports/trail.csv"


def listed(person: Person, **query: object) -> list[tuple[str, str]]:
    """Verb and record of what a search finds, the last entered first."""
    return [(row["What"], row["Record"]) for row in file_rows(person, FILE, **query)]


@pytest.mark.parametrize("address", [TRAIL, FILE])
def test_the_trail_is_for_who_has_the_duty(address: str, ward_nurse: Person, storekeeper: Person) -> None:
    """Ward and store do not read what everybody did."""
    for person in (ward_nurse, storekeeper):
        assert signed_in(person).get(address).status_code == 403


def test_only_what_was_done_to_the_readers_drivers(manager: Person, outsider: Person) -> None:
    """Another site's manager finds nothing of this site, nor of people, places and types."""
    device = a_device()
    an_open_tag(device)
    assert ("raised tag", device.tags.get().written) in listed(manager)
    assert listed(outsider) == []
    assert device.asset_number not in words(outsider, TRAIL)


def test_what_belongs_to_no_driver_is_for_who_sees_every_place(administrator: Person, manager: Person) -> None:
    """Adding a place stands in the administrator's trail only."""
    a_ward("Ward 12")
    assert ("added place", "Ward 12") in listed(administrator)
    assert ("added place", "Ward 12") not in listed(manager)


def test_one_finds_what_one_did_oneself(manager: Person) -> None:
    """An act of the reader's own is in their trail, also where it belongs to no driver."""
    a_ward("Ward 13")
    entry = TrailEntry.objects.filter(verb="added place").latest("id")
    TrailEntry.objects.create(
        entered_at=entry.entered_at, done_at=entry.done_at, person=manager, actor=str(manager), source="page",
        verb="closed place", subject_kind="place", subject_id=entry.subject_id, subject_name="Ward 13",
    )  # fmt: skip
    assert listed(manager) == [("closed place", "Ward 13")]


def test_searched_by_who_what_record_kind_and_lateness(manager: Person) -> None:
    """Each way to narrow finds the one entry it fits."""
    device, other = a_device(), a_device()
    edit_device(device, {"pool": "loan"}, why="Lent", by=actor_for(manager))
    see(other, a_ward(), "ward round", at=clock.now() - timedelta(hours=5), by=BY)
    edited = [("changed device", device.asset_number)]
    assert listed(manager, who="maud") == edited
    assert listed(manager, what="changed dev") == edited
    assert listed(manager, record=device.asset_number.lower(), kind="device")[0] == edited[0]
    assert listed(manager, source="page") == edited
    assert listed(manager, late="True") == [("seen", other.asset_number)]
    assert listed(manager, done_max="2020-01-01") == []


def test_a_tag_is_found_by_its_number_as_on_paper(manager: Person) -> None:
    """With or without its hyphen."""
    tag = an_open_tag(a_device())
    for text in (tag.number, tag.written):
        assert ("raised tag", tag.written) in listed(manager, record=text, kind="tag")


def test_the_file_and_the_list_hold_the_same(manager: Person) -> None:
    """As many rows in the file as in the trail the person may read."""
    for _ in range(30):
        a_device()
    assert len(listed(manager)) == queries.trail(manager).count() == 30
    assert "Showing 1\u201325 of 30" in words(manager, TRAIL)


def test_the_list_asks_the_same_of_the_database_however_long_it_is(
    manager: Person, django_assert_max_num_queries: object
) -> None:
    """A page of the trail costs no more questions when there are many entries."""
    for _ in range(30):
        an_open_tag(a_device())
    client = signed_in(manager)
    with django_assert_max_num_queries(12):
        assert client.get(reverse("reports:trail")).status_code == 200
