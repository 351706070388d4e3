"""Devices, places and types: what the register accepts, keeps and refuses."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from fleet.audit.actors import Actor, Source
from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Facts, Move
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry import actions
from fleet.registry.actions import NewDevice, NewType
from fleet.registry.models import Device, Place
from fleet.registry.queries import by_code, device_of_token, label_token
from tests.builders import BY, a_device, a_maker, a_new_device, a_site, a_type, a_ward

pytestmark = pytest.mark.django_db

NOTHING_OPEN = Facts(
    open_tags=0,
    quarantine_open=False,
    failed_required_steps=0,
    missing_required_steps=0,
    checked=True,
    accepted=False,
    open_orders=0,
)


def test_a_new_driver_waits_for_acceptance() -> None:
    """A delivered driver is not in service until an acceptance order has passed."""
    device = a_new_device()
    assert (device.condition, device.wait_reason) == ("waiting", "acceptance")
    with pytest.raises(MoveRefusedError):
        actions.move(device, Move.RETURN, NOTHING_OPEN, by=BY)


def test_the_database_refuses_service_without_acceptance() -> None:
    """Not only the actions: the database itself keeps a driver that was never accepted out of service."""
    device = a_new_device()
    with pytest.raises(IntegrityError), transaction.atomic():
        Device.objects.filter(pk=device.pk).update(condition="in_service", wait_reason="")


def test_a_driver_taken_over_needs_its_acceptance_date() -> None:
    """A driver taken in from an earlier record must say when it was accepted."""
    new = NewDevice(serial_number="S1", device_type=a_type(), home=a_ward(), taken_over="the old card index")
    with pytest.raises(BadValueError, match="date it was accepted on"):
        actions.add_device(new, by=BY)


def test_asset_numbers_are_given_once() -> None:
    """An asset number in use, even by a retired driver, is refused by name."""
    device = a_device(asset_number="A7")
    actions.move(device, Move.RETIRE, _with_reason(), by=BY, why="beyond repair")
    new = NewDevice(serial_number="S2", device_type=a_type(), home=a_ward(), asset_number="A7")
    with pytest.raises(BadValueError, match="A7 belongs to another device"):
        actions.add_device(new, by=BY)


def _with_reason() -> Facts:
    return Facts(
        open_tags=0,
        quarantine_open=False,
        failed_required_steps=0,
        missing_required_steps=0,
        checked=False,
        accepted=True,
        open_orders=0,
        has_reason=True,
    )


def test_given_asset_numbers_step_over_numbers_in_use() -> None:
    """The next number of our own series is free even where somebody typed one of the series by hand."""
    a_device(asset_number="SD00001")
    new = NewDevice(serial_number="S3", device_type=a_type(), home=a_ward())
    assert actions.add_device(new, by=BY).asset_number == "SD00002"


def test_a_batch_with_one_wrong_row_adds_nothing() -> None:
    """Devices are added together or not at all."""
    a_device(serial_number="S9")
    news = [NewDevice(serial_number=serial, device_type=a_type(), home=a_ward()) for serial in ("S8", "S9")]
    with pytest.raises(BadValueError, match="S9 of this type is on record"):
        actions.add_devices(news, by=BY)
    assert not Device.objects.filter(serial_number="S8").exists()


def test_two_types_may_share_a_serial_number() -> None:
    """A serial number is unique within its type only."""
    a_device(serial_number="S5")
    a_device(serial_number="S5", device_type=a_type("TW-20"))
    assert Device.objects.filter(serial_number="S5").count() == 2


def test_defaults_cascade_and_overrides_stay() -> None:
    """A device follows its type's values unless it has its own, which outlast a change of the type."""
    plain, special = a_device(), a_device(own_replacement_level=Decimal("0.700"))
    actions.edit_device_type(plain.device_type, {"replacement_level": Decimal("0.850")}, by=BY, why="policy")
    levels = [Device.objects.get(pk=device.pk).replacement_level for device in (plain, special)]
    assert levels == [Decimal("0.850"), Decimal("0.700")]


def test_conditions_have_actions_of_their_own() -> None:
    """A driver's condition can't be edited like a price."""
    with pytest.raises(BadValueError, match="act of its own"):
        actions.edit_device(a_device(), {"condition": "retired"}, by=BY)


def test_an_act_needs_its_duty(ward_nurse: Person) -> None:
    """A nurse may not add a driver, and is told which duty is missing."""
    new = NewDevice(serial_number="S6", device_type=a_type(), home=a_ward())
    with pytest.raises(NotAllowedError, match="edit registry"):
        actions.add_device(new, by=actor_for(ward_nurse))


def test_the_trail_holds_old_and_new(manager: Person) -> None:
    """An edit leaves who, what it was, what it is, and why."""
    device = a_device(cost_centre="1100")
    actions.edit_device(device, {"cost_centre": "2200"}, by=actor_for(manager), why="ward moved")
    entry = TrailEntry.objects.get(device_ref=device.pk, verb="changed device")
    told = (entry.person, entry.source, entry.before, entry.after, entry.why)
    assert told == (manager, "page", {"cost_centre": "1100"}, {"cost_centre": "2200"}, "ward moved")


def test_running_hours_never_run_backwards() -> None:
    """A counter reading below the last one is refused with both values."""
    device = a_device()
    actions.note_running_hours(device, Decimal(120), at=device.condition_since, by=BY)
    with pytest.raises(BadValueError, match=r"120.* 110"):
        actions.note_running_hours(device, Decimal(110), at=device.condition_since, by=BY)


def test_a_site_stands_alone_and_a_ward_does_not() -> None:
    """Places nest as a hospital does."""
    with pytest.raises(BadValueError, match="stands in a site or a building"):
        actions.add_place(Place.Kind.WARD, "Ward 1", "w1", by=BY)
    with pytest.raises(BadValueError, match="stands in no other place"):
        actions.add_place(Place.Kind.SITE, "Annexe", "annexe", a_site(), by=BY)


def test_a_type_states_a_runtime_at_its_reference_rate() -> None:
    """A type without a rated runtime at its reference rate is refused: no test could be judged."""
    new = NewType(
        maker=a_maker(),
        model="Bare",
        charging_hours=Decimal(10),
        reference_rate=Decimal(5),
        rated_runtimes={Decimal(2): Decimal(9)},
    )
    with pytest.raises(BadValueError, match="reference rate of 5 mL/h"):
        actions.add_device_type(new, by=BY)


def test_a_lost_label_still_leaves_the_serial_number() -> None:
    """A driver is found by asset number, by serial number in any case, and not by nonsense."""
    device = a_device(serial_number="Zk-881", asset_number="A99")
    assert [by_code(text) for text in ("a99", " zk-881 ", "nothing")] == [device, device, None]


def test_a_shared_serial_number_names_nobody() -> None:
    """Where two types share a serial number, a scan of it must not guess."""
    a_device(serial_number="S5")
    a_device(serial_number="S5", device_type=a_type("TW-20"))
    assert by_code("S5") is None


def test_only_the_current_label_opens() -> None:
    """A forged token opens nothing, and a renewed label makes the old one void."""
    device = a_device()
    token = label_token(device)
    assert device_of_token(token) == device
    assert device_of_token(token[:-1] + ("A" if token[-1] != "A" else "B")) is None
    renewed = actions.renew_label(device, by=BY)
    assert (device_of_token(token), device_of_token(label_token(renewed))) == (None, device)


def test_an_import_is_told_from_a_page(manager: Person) -> None:
    """The trail names the door an act came in by."""
    importer: Actor = actor_for(manager).through(Source.IMPORT)
    device = actions.add_device(NewDevice(serial_number="S7", device_type=a_type(), home=a_ward()), by=importer)
    assert TrailEntry.objects.get(device_ref=device.pk).source == "import"
