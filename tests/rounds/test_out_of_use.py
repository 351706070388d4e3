"""A driver that is out of use, met on a round: loud where it runs on a patient, and never moved in silence."""

import pytest

from fleet.core.errors import MoveRefusedError
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.reports.queries import Standing, standing_so
from fleet.rounds import actions
from fleet.rounds.models import RoundStop
from fleet.tags.models import CustodyEntry, Tag, TagReport, YesNo
from tests.bench.builders import again, procedures
from tests.builders import BY, a_device, a_ward
from tests.reports.builders import signed_in
from tests.rounds.builders import a_round, connected, stopped
from tests.tags.builders import a_raised_tag

pytestmark = pytest.mark.django_db
What = RoundStop.What


def tagged(home: str = "Ward 4", harm: YesNo = YesNo.NO) -> Device:
    """A driver that its ward tagged out of use."""
    return again(a_raised_tag(a_device(a_ward(home)), harm=harm).tag.device)


def test_in_use_although_out_of_use_is_reported_on_its_tag_and_counted(manager: Person) -> None:
    """The report joins the open tag, and the driver stands on the overview until the bench has it."""
    procedures()
    device, visit = tagged(), a_round()
    stopped(visit, device, What.IN_USE)
    tag = Tag.objects.get(device=device)
    assert tag.reports.filter(what=TagReport.What.IN_USE, connected=YesNo.YES).count() == 1
    assert list(standing_so(manager, Standing.IN_USE)) == [device]
    stopped(visit, device, What.TAKEN)
    assert not standing_so(manager, Standing.IN_USE)


def test_the_page_says_what_to_do_first(technician: Person) -> None:
    """The answer is an alert that begins with the patient, not one line of success among others."""
    device, visit = tagged(), a_round()
    answer = signed_in(technician).post(f"/rounds/{visit.pk}/stop/{device}/", {"what": "in_use"}, follow=True)
    page = answer.content.decode()
    assert "is out of use, and runs on a patient" in page
    assert "The patient comes first." in page
    assert ">Undo: " not in page


def test_no_ward_keeps_a_driver_that_is_out_of_use(technician: Person) -> None:
    """It is not offered, and refused where it is sent all the same."""
    device, visit = tagged(), a_round()
    with pytest.raises(MoveRefusedError, match="no ward keeps it"):
        stopped(visit, device, What.REFUSED)
    shown = signed_in(technician).get(f"/rounds/{visit.pk}/?code={device}").content.decode()
    assert "The ward keeps it" not in connected(shown)


def test_a_quarantined_driver_is_not_moved_in_silence() -> None:
    """Met in another ward, its custody record says where, and where it was on record before."""
    device, visit = tagged("Ward 7", harm=YesNo.YES), a_round()
    actions.meet(visit, device, by=BY)
    entry = CustodyEntry.objects.get(quarantine__device=device)
    assert "Ward 4" in entry.purpose
    assert "Ward 7" in entry.purpose


def test_a_driver_met_by_a_mistyped_number_goes_back_to_its_place(technician: Person) -> None:
    """Taking the meeting back puts the record of its place right again."""
    device, visit = a_device(a_ward("Ward 7")), a_round()
    actions.meet(visit, device, by=BY)
    assert again(device).place == visit.place
    assert "put it back at Ward 7" in signed_in(technician).get(f"/rounds/{visit.pk}/?code={device}").content.decode()
    actions.undo(visit, device, by=BY)
    assert again(device).place.name == "Ward 7"


def test_a_driver_in_service_in_use_is_no_alarm(manager: Person) -> None:
    """In use is what a driver in service is for."""
    device = a_device()
    stopped(a_round(), device, What.IN_USE)
    assert again(device).condition == Condition.IN_SERVICE
    assert not Tag.objects.exists()
    assert not standing_so(manager, Standing.IN_USE)
