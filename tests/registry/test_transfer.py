"""The lasting transfer of a driver to another home, and a retired driver's record that nobody changes any more."""

from datetime import timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench.actions import retire
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.actions import Handover, edit_device, transfer
from fleet.registry.models import Device, Transfer
from fleet.web import clock
from tests.bench.builders import received
from tests.builders import BY, a_device, a_site, a_ward
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db


def handed(**facts: object) -> Handover:
    far = a_ward("Ward 9", a_site("Corran Vale"))
    usual = {"to_place": far, "on": clock.today(), "state": "Clean, a scratch on the case", "why": "Ward moved"}
    return Handover(**{**usual, **facts})  # type: ignore[arg-type] # facts of several types


def test_a_driver_goes_to_another_site_with_day_condition_and_reason() -> None:
    """Home and place are the new ones; from where, when, how and why stand in its own row and on the trail."""
    device = a_device()
    was = device.home
    done = transfer(device, handed(cost_centre="CV-77"), by=BY)
    device.refresh_from_db()
    assert (device.home, device.place, device.cost_centre) == (done.to_place, done.to_place, "CV-77")
    assert (done.from_place, done.state, done.by_name) == (was, "Clean, a scratch on the case", BY.name)
    entry = TrailEntry.objects.get(verb="transferred", device_ref=device.pk)
    assert (entry.before["home"], entry.after["home"], entry.why) == (str(was), "Ward 9", "Ward moved")


def test_a_driver_on_the_bench_stays_there_and_belongs_elsewhere(technician: Person) -> None:
    """Where it is changes only when it stood at its old home."""
    device = a_device()
    received(device, technician, kind="corrective")
    device.refresh_from_db()
    bench = device.place
    transfer(device, handed(), by=BY)
    device.refresh_from_db()
    assert (device.place, device.home.name) == (bench, "Ward 9")


@pytest.mark.parametrize(
    ("facts", "field"),
    [({"state": " "}, "state"), ({"why": ""}, "why"), ({"on": "tomorrow"}, "on"), ({"to_place": "home"}, "to_place")],
)
def test_a_transfer_is_told_whole(facts: dict[str, object], field: str) -> None:
    """Condition, reason, a day that has come, a home that is another."""
    device = a_device()
    meant = {"tomorrow": clock.today() + timedelta(days=1), "home": device.home}
    with pytest.raises(BadValueError) as refused:
        transfer(device, handed(**{name: meant.get(str(value), value) for name, value in facts.items()}), by=BY)
    assert refused.value.field == field
    assert not Transfer.objects.exists()


def test_another_site_is_reached_by_transfer_only() -> None:
    """Editing a driver's home leads to another ward of its site, and says what to do for one of another site."""
    device = a_device()
    edit_device(device, {"home": a_ward("Ward 5")}, by=BY)
    with pytest.raises(BadValueError, match="Transfer the driver there"):
        edit_device(device, {"home": a_ward("Ward 9", a_site("Corran Vale"))}, by=BY)


def test_a_retired_driver_is_neither_transferred_nor_changed(manager: Person) -> None:
    """Its record is read-only; its page offers neither."""
    device = a_device()
    retire(device, why="worn", by=BY)
    for act in (lambda: transfer(device, handed(), by=BY), lambda: edit_device(device, {"lot": "L1"}, by=BY)):
        with pytest.raises(MoveRefusedError, match="is retired: its record is kept as it is"):
            act()
    shown = page(manager, f"/devices/{device}/")
    assert f"/registry/{device}/edit/" not in shown
    assert f"/registry/{device}/transfer/" not in shown
    assert Device.objects.get(pk=device.pk).lot == ""


def test_it_is_transferred_on_its_page(manager: Person, technician: Person, administrator: Person) -> None:
    """By whoever keeps the register, to a place they see; the transfers before stand below the form."""
    device = a_device()
    address = f"/registry/{device}/transfer/"
    assert status(technician, address) == 403
    far = a_ward("Ward 9", a_site("Corran Vale"))
    sent = {"to_place": far.pk, "on": clock.today(), "state": "Clean", "why": "Ward moved"}
    assert signed_in(manager).post(address, sent).status_code == 422
    assert signed_in(administrator).post(address, sent).status_code == 302
    assert "to Ward 9" in page(administrator, address)
    with pytest.raises(NotAllowedError):
        transfer(device, handed(), by=actor_for(technician))
