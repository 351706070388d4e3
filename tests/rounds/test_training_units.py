"""A training unit met in a ward among drivers for patients: loud, kept by nobody, taken out."""

import pytest

from fleet.core.errors import MoveRefusedError
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds.models import RoundStop
from fleet.tags.models import Tag, TagReport
from tests.bench.builders import again, procedures
from tests.builders import a_device, a_ward
from tests.reports.builders import signed_in
from tests.rounds.builders import a_round, connected, stopped

pytestmark = pytest.mark.django_db
What = RoundStop.What


def unit(home: str = "Training room") -> Device:
    """A training unit in service at its home."""
    device = a_device(a_ward(home))
    Device.objects.filter(pk=device.pk).update(pool=Device.Pool.TRAINING)
    return again(device)


def test_no_ward_keeps_a_training_unit(technician: Person) -> None:
    """Scanned in another ward than its home: its card says so first, and offers neither to keep nor to leave it."""
    device, visit = unit(), a_round()
    browser = signed_in(technician)
    shown = browser.post(f"/rounds/{visit.pk}/scan/", {"code": str(device)}, follow=True).content.decode()
    assert "Training only: not for patients" in connected(shown)
    for words in ("The ward keeps it", "Seen, leave it here", "Never from a patient"):
        assert words not in connected(shown)
    with pytest.raises(MoveRefusedError, match="for training only"):
        stopped(visit, device, What.REFUSED)


def test_a_training_unit_met_in_a_ward_is_taken_to_the_bench(technician: Person) -> None:
    """Nothing else need be due on it: it has been among patients, so it is taken in to be cleaned."""
    procedures()
    device, visit = unit(), a_round(by=technician)
    stopped(visit, device, What.SEEN, technician)
    stopped(visit, device, What.TAKEN, technician)
    assert again(device).condition == "on_bench"
    assert device.orders.get().kind == "cleaning"


def test_a_training_unit_on_a_patient_is_tagged(technician: Person) -> None:
    """As loud as a driver that is out of use: a tag tells what was met, and it is out of use from then on."""
    device, visit = unit(), a_round(by=technician)
    stopped(visit, device, What.SEEN, technician)
    stopped(visit, device, What.IN_USE, technician)
    assert "for training only" in Tag.objects.get(device=device).reports.get(what=TagReport.What.IN_USE).words
    assert again(device).condition == "out_of_use"


def test_at_home_a_training_unit_is_one_like_others(technician: Person) -> None:
    """Where it belongs nobody has to take it away."""
    device, visit = unit("Ward 4"), a_round(by=technician)
    stopped(visit, device, What.REFUSED, technician)
    assert not Tag.objects.filter(device=device).exists()


def test_a_ward_s_list_tells_training_units_apart(ward_nurse: Person) -> None:
    """They stand in a caution of their own, and not among the drivers in service."""
    device, other = unit("Ward 4"), a_device(a_ward())
    page = signed_in(ward_nurse).get("/tags/ours/?show=in_service").content.decode()
    apart, _, list_of = page.partition('<ul class="drivers">')
    assert device.asset_number in apart
    assert device.asset_number not in list_of
    assert other.asset_number in list_of
