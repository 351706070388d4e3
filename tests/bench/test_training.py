"""Training units: made only on the bench, marked everywhere, and back to patients only over acceptance."""

import pytest
from django.urls import reverse

from fleet.bench import actions as bench
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from fleet.registry.actions import edit_device, edit_devices, make_training
from fleet.registry.models import Device
from fleet.registry.queries import label_token
from tests.bench.builders import again, as_actor, finish, received, signed_in, work
from tests.builders import BY, a_device

pytestmark = pytest.mark.django_db
WHY = "For the skills room"


def on_bench(technician: Person, **facts: object) -> Device:
    device = a_device(**facts)
    received(device, technician, kind="planned")
    return again(device)


def test_made_only_out_of_service(technician: Person, manager: Person) -> None:
    """A driver in a ward is refused; on the bench it becomes a training unit and goes to the skills room checked."""
    with pytest.raises(MoveRefusedError, match="in service"):
        make_training(a_device(), why=WHY, by=as_actor(manager))
    device = make_training(on_bench(technician), why=WHY, by=as_actor(manager))
    assert device.pool == Device.Pool.TRAINING
    finish(work(device.orders.get(), technician), technician)
    assert again(device).condition == "in_service"


def test_it_needs_a_reason_and_the_duty(technician: Person, manager: Person) -> None:
    """Whoever keeps the register decides, and says why."""
    device = on_bench(technician)
    with pytest.raises(MoveRefusedError, match="no reason"):
        make_training(device, why=" ", by=as_actor(manager))
    with pytest.raises(NotAllowedError):
        make_training(device, why=WHY, by=as_actor(technician))


def test_back_to_patients_only_over_acceptance(technician: Person, manager: Person) -> None:
    """Its old acceptance counts no more: no other order returns it, the acceptance order raised with it does."""
    device = on_bench(technician, pool=Device.Pool.TRAINING)
    acceptance = bench.end_training(device, Device.Pool.CLINICAL, why="Needed on the wards", by=as_actor(manager))
    assert (again(device).pool, again(device).accepted_on) == (Device.Pool.CLINICAL, None)
    planned = work(device.orders.get(kind="planned"), technician)
    with pytest.raises(MoveRefusedError, match="has not passed an acceptance order"):
        finish(planned, technician)
    finish(planned, technician, stays=True)
    again_in = received(device, technician, kind="acceptance")
    assert again_in == acceptance
    finish(work(again_in, technician), technician)
    assert (again(device).condition, again(device).accepted_on is not None) == ("in_service", True)


@pytest.mark.parametrize(
    ("now", "then"), [(Device.Pool.TRAINING, Device.Pool.CLINICAL), (Device.Pool.CLINICAL, Device.Pool.TRAINING)]
)
def test_no_other_way_crosses_the_line(now: Device.Pool, then: Device.Pool) -> None:
    """Neither the register's form nor a file makes a training unit or ends one."""
    device = a_device(pool=now)
    with pytest.raises(BadValueError, match="on the bench only"):
        edit_device(device, {"pool": then}, by=BY)
    with pytest.raises(BadValueError, match="on the bench only"):
        edit_devices([(device, {"pool": then})], by=BY)
    assert again(device).pool == now


@pytest.mark.parametrize(
    "address",
    [
        "/devices/{asset}/",
        "/registry/",
        "/registry/{asset}/label/",
        "/bench/receive/?code={asset}",
        "/bench/orders/{order}/",
        "/search/?q={asset}",
        "/r/{token}/",
    ],
)
def test_pages_and_label_say_so(address: str, technician: Person) -> None:
    """Wherever the driver is shown, and on its label, stands that it is for training only."""
    device = on_bench(technician, pool=Device.Pool.TRAINING)
    at = {"asset": device.asset_number, "order": device.orders.get().number, "token": label_token(device)}
    page = signed_in(technician).get(address.format(**at), follow=True)
    assert page.status_code == 200
    assert "training only" in page.content.decode().lower()


def test_made_and_ended_on_its_page(technician: Person, manager: Person) -> None:
    """The page says that it must be on the bench, makes the training unit, and ends it with an acceptance order."""
    client, ward_driver = signed_in(manager), a_device()
    page = client.get(reverse("bench:training", args=[ward_driver.asset_number])).content.decode()
    assert "Only on the bench" in page
    device = on_bench(technician)
    address = reverse("bench:training", args=[device.asset_number])
    client.post(address, {"why": WHY})
    assert again(device).pool == Device.Pool.TRAINING
    client.post(address, {"why": "Needed", "pool": "spare"})
    assert again(device).pool == Device.Pool.SPARE
    assert device.orders.filter(kind="acceptance", state="raised").exists()
