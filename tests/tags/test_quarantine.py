"""Quarantine: kept as it is, handed over in writing, lifted only with a reason."""

from datetime import timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.tags.actions import (
    Custody,
    add_custody,
    lift_quarantine,
    note_incident,
    open_quarantine,
)
from fleet.tags.models import CustodyEntry, Quarantine
from fleet.web import clock
from tests.builders import BY, a_device
from tests.tags.builders import an_open_tag, verbs

pytestmark = pytest.mark.django_db


def a_quarantine(device: Device | None = None) -> Quarantine:
    return an_open_tag(device or a_device(), harm="yes").quarantines.get()


def test_the_bench_may_open_one_for_a_driver_out_of_use(technician: Person) -> None:
    """What the ward did not know, the bench may find; the day of becoming aware may lie in the past."""
    device = a_device()
    an_open_tag(device)
    day = clock.today() - timedelta(days=2)
    quarantine = open_quarantine(device, reason="Blood inside.", aware_on=day, by=actor_for(technician))
    assert quarantine.aware_on == day
    assert Device.objects.get(pk=device.pk).quarantined


def test_an_open_one_is_returned_as_it_stands() -> None:
    """Asking twice keeps the first reason and writes nothing."""
    quarantine = a_quarantine()
    before = verbs(quarantine.device)
    assert open_quarantine(quarantine.device, reason="Again.", by=BY).reason == quarantine.reason
    assert verbs(quarantine.device) == before


def test_a_driver_in_service_is_tagged_first() -> None:
    """Nothing stays in service under quarantine."""
    with pytest.raises(MoveRefusedError, match="Tag it first"):
        open_quarantine(a_device(), reason="Harm.", by=BY)


@pytest.mark.parametrize(
    ("reason", "days", "field"), [(" ", 0, "reason"), ("Harm.", 1, "aware_on")], ids=["no reason", "aware tomorrow"]
)
def test_opening_names_the_wrong_field(reason: str, days: int, field: str) -> None:
    """A reason is needed, and nobody becomes aware tomorrow."""
    device = a_device()
    an_open_tag(device)
    with pytest.raises(BadValueError) as refused:
        open_quarantine(device, reason=reason, aware_on=clock.today() + timedelta(days=days), by=BY)
    assert refused.value.field == field
    assert not Device.objects.get(pk=device.pk).quarantined


def test_a_manager_lifts_it_with_a_reason(manager: Person) -> None:
    """Who lifted it, when and why is kept; the driver stays out of use with its tag open."""
    quarantine = a_quarantine()
    lifted = lift_quarantine(quarantine, why="Released by the incident team.", by=actor_for(manager))
    device = Device.objects.get(pk=quarantine.device_id)
    assert lifted.lifted_by == manager
    assert not device.quarantined
    assert device.condition == Condition.OUT_OF_USE
    assert TrailEntry.objects.get(verb="lifted quarantine").why == "Released by the incident team."


def test_lifting_needs_a_reason(manager: Person) -> None:
    """Without words nothing is lifted."""
    quarantine = a_quarantine()
    with pytest.raises(BadValueError, match="on what ground"):
        lift_quarantine(quarantine, why="  ", by=actor_for(manager))
    assert Device.objects.get(pk=quarantine.device_id).quarantined


def test_a_technician_cannot_lift_it(technician: Person) -> None:
    """The bench that waits to repair the driver does not release it to itself."""
    with pytest.raises(NotAllowedError):
        lift_quarantine(a_quarantine(), why="Looks fine.", by=actor_for(technician))


def test_it_is_lifted_once() -> None:
    """The second of two managers is told when it was lifted."""
    quarantine = a_quarantine()
    lift_quarantine(quarantine, why="Released.", by=BY)
    with pytest.raises(ConflictError, match="was lifted on"):
        lift_quarantine(quarantine, why="Released.", by=BY)


def test_custody_is_written_down(technician: Person) -> None:
    """Who gave, who received, what for and what is kept along; where the driver is kept now follows."""
    quarantine = a_quarantine()
    an_hour_ago = clock.now() - timedelta(hours=1)
    entry = Custody(
        given_by="Nell Averby",
        received_by="Tova Lindqvarn",
        purpose="Locked away",
        kept_along="syringe and line",
        kept_where="Cupboard 2",
        happened_at=an_hour_ago,
    )
    add_custody(quarantine, entry, by=actor_for(technician))
    told = TrailEntry.objects.get(verb="added custody entry")
    assert Quarantine.objects.get().kept_where == "Cupboard 2"
    assert (told.done_at, told.late) == (an_hour_ago, True)
    assert told.after["kept_along"] == "syringe and line"


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"received_by": " ", "purpose": "Photos"}, "received_by"),
        ({"received_by": "Bram", "purpose": ""}, "purpose"),
        ({"received_by": "Bram", "purpose": "Photos", "happened_at": clock.now() + timedelta(days=1)}, "happened_at"),
    ],
)
def test_a_custody_entry_names_the_wrong_field(facts: dict[str, str], field: str) -> None:
    """Who has it now, what for, and not later than now."""
    with pytest.raises(BadValueError) as refused:
        add_custody(a_quarantine(), Custody(**facts), by=BY)
    assert refused.value.field == field
    assert not CustodyEntry.objects.exists()


def test_custody_closes_with_the_quarantine() -> None:
    """A lifted quarantine takes no further entry."""
    quarantine = a_quarantine()
    lift_quarantine(quarantine, why="Released.", by=BY)
    with pytest.raises(ConflictError, match="closed"):
        add_custody(quarantine, Custody(received_by="Bram", purpose="Photos"), by=BY)


def test_an_incident_number_is_corrected_and_the_one_before_is_kept() -> None:
    """A correction does not obscure the earlier value."""
    quarantine = a_quarantine()
    note_incident(quarantine, "INC-1", by=BY)
    note_incident(quarantine, "INC-2", by=BY)
    entry = TrailEntry.objects.filter(verb="noted incident number").first()
    assert entry is not None
    assert (entry.before["incident_reference"], entry.after["incident_reference"]) == ("INC-1", "INC-2")


def test_an_empty_incident_number_is_refused() -> None:
    """Nothing is no number."""
    with pytest.raises(BadValueError, match="incident system"):
        note_incident(a_quarantine(), " ", by=BY)
