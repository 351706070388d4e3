"""Quarantines on the screen of a manager and a technician."""

from datetime import timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.people.models import Person
from fleet.tags.models import CustodyEntry, Quarantine
from tests.builders import a_device
from tests.tags.builders import an_open_tag, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def quarantine() -> Quarantine:
    return an_open_tag(a_device(), harm="yes", incident_reference="INC-31").quarantines.get()


def test_the_list_shows_age_and_incident(manager: Person, quarantine: Quarantine) -> None:
    """Each open quarantine stands with its incident number, and duties to report are left to policy and law."""
    page = signed_in(manager).get("/tags/quarantines/").content.decode()
    assert quarantine.device.asset_number in page
    assert "INC-31" in page
    assert "incident policy and the law" in page


def test_the_list_is_clear_when_there_are_none(manager: Person) -> None:
    """An empty list says so."""
    assert "No quarantine is open" in signed_in(manager).get("/tags/quarantines/").content.decode()


def test_a_ward_does_not_see_the_list(ward_nurse: Person, quarantine: Quarantine) -> None:
    """Quarantines are for bench and manager."""
    assert signed_in(ward_nurse).get("/tags/quarantines/").status_code == 403
    assert signed_in(ward_nurse).get(f"/tags/quarantines/{quarantine.pk}/").status_code == 403


def test_a_technician_keeps_custody_and_does_not_lift(technician: Person, quarantine: Quarantine) -> None:
    """The custody record is the bench's; lifting is not, on the page or by a bare post."""
    client, address = signed_in(technician), f"/tags/quarantines/{quarantine.pk}/"
    assert "Lift the quarantine" not in client.get(address).content.decode()
    client.post(f"{address}custody/", {"received_by": "Tova Lindqvarn", "purpose": "Locked away"})
    assert CustodyEntry.objects.get().received_by == "Tova Lindqvarn"
    assert client.post(f"{address}lift/", {"why": "Fine."}).status_code == 403
    assert Quarantine.objects.get().lifted_at is None


def test_the_last_holder_is_the_next_giver(technician: Person, quarantine: Quarantine) -> None:
    """Who has the driver now stands in the field of who gives it."""
    client, address = signed_in(technician), f"/tags/quarantines/{quarantine.pk}/"
    client.post(f"{address}custody/", {"received_by": "Tova Lindqvarn", "purpose": "Locked away"})
    assert 'name="given_by" value="Tova Lindqvarn"' in client.get(address).content.decode()


def test_a_manager_lifts_and_it_is_shown_as_lifted(manager: Person, quarantine: Quarantine) -> None:
    """The reason is shown where the forms were, and the list keeps it under those lifted lately."""
    client, address = signed_in(manager), f"/tags/quarantines/{quarantine.pk}/"
    page = client.post(f"{address}lift/", {"why": "Released by the panel."}, follow=True).content.decode()
    assert "Released by the panel." in page
    assert "Add to the record" not in page
    assert "Lifted lately" in client.get("/tags/quarantines/").content.decode()


def test_a_late_form_is_answered_in_words(manager: Person, quarantine: Quarantine) -> None:
    """Whoever lifts what another has lifted is told so, and the words typed are still there."""
    client, address = signed_in(manager), f"/tags/quarantines/{quarantine.pk}/"
    client.post(f"{address}lift/", {"why": "Released."})
    client.post(f"{address}incident/", {"incident_reference": "INC-99"})
    assert Quarantine.objects.get().incident_reference == "INC-31"


def test_what_is_missing_is_named(manager: Person, quarantine: Quarantine) -> None:
    """An empty reason is refused beside its field."""
    page = signed_in(manager).post(f"/tags/quarantines/{quarantine.pk}/lift/", {"why": " "}).content.decode()
    assert "Nothing was saved yet" in page
    assert Quarantine.objects.get().lifted_at is None


def test_the_incident_number_is_noted(technician: Person, quarantine: Quarantine) -> None:
    """Bench and manager may note or correct it."""
    client = signed_in(technician)
    client.post(f"/tags/quarantines/{quarantine.pk}/incident/", {"incident_reference": "INC-40"})
    assert Quarantine.objects.get().incident_reference == "INC-40"


def test_the_day_of_awareness_is_corrected_with_its_reason(
    manager: Person, technician: Person, quarantine: Quarantine
) -> None:
    """A hospital may have known before the tag was raised: a manager corrects the day, the trail keeps both."""
    address, first = f"/tags/quarantines/{quarantine.pk}/aware/", quarantine.aware_on
    earlier = first - timedelta(days=2)
    typed = {"aware-aware_on": earlier.isoformat(), "aware-why": "ward sister's call, noted in the incident system"}
    assert signed_in(technician).post(address, typed).status_code == 403
    page = signed_in(manager).post(address, typed, follow=True).content.decode()
    assert "(2 days)" in page
    entry = TrailEntry.objects.filter(verb="corrected awareness").get()
    assert (entry.before, entry.after) == ({"aware_on": first.isoformat()}, {"aware_on": earlier.isoformat()})
    ahead = {**typed, "aware-aware_on": (first + timedelta(days=1)).isoformat()}
    assert "later than today" in signed_in(manager).post(address, ahead).content.decode()
    assert Quarantine.objects.get().aware_on == earlier


@pytest.mark.parametrize("act", ["", "custody/", "incident/", "aware/", "lift/"])
def test_an_outsider_finds_no_quarantine_of_ours(act: str, outsider: Person, quarantine: Quarantine) -> None:
    """Outside one's places a quarantine does not exist."""
    client, address = signed_in(outsider), f"/tags/quarantines/{quarantine.pk}/{act}"
    answer = client.post(address, {"why": "x"}) if act else client.get(address)
    assert answer.status_code == 404
