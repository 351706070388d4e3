"""What a driver on the bench shows of itself is recorded from its order's page."""

from decimal import Decimal

import pytest

from fleet.bench import actions as bench
from fleet.core.errors import MoveRefusedError
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import again, as_actor, received
from tests.builders import a_device
from tests.tags.builders import an_open_tag, signed_in, verbs

pytestmark = pytest.mark.django_db


def test_version_and_hours_are_read_off_on_the_order_page(technician: Person) -> None:
    """Both come onto the driver with the moment they were seen, and into its trail."""
    order = received(a_device(), technician, kind="planned")
    client, address = signed_in(technician), f"/bench/orders/{order}/act/read-off/"
    typed = {"read-off-firmware": "3.2.1", "read-off-running_hours": "8120.5"}
    assert "What the driver shows is on record" in client.post(address, typed, follow=True).content.decode()
    device = again(order.device)
    assert (device.firmware, device.running_hours) == ("3.2.1", Decimal("8120.5"))
    assert device.firmware_seen_at is not None
    assert clock.local_day(device.firmware_seen_at) == clock.today()
    assert verbs(device)[-2:] == ["firmware seen", "running hours read"]


def test_a_counter_that_runs_backwards_or_nothing_is_refused(technician: Person) -> None:
    """The reason stands beside the form, and nothing of it is kept."""
    order = received(a_device(running_hours=Decimal(900)), technician, kind="planned")
    client, address = signed_in(technician), f"/bench/orders/{order}/act/read-off/"
    lower = client.post(address, {"read-off-firmware": "3.2.1", "read-off-running_hours": "90"})
    assert "Read it again" in lower.content.decode()
    assert again(order.device).firmware == ""
    assert "or both" in client.post(address, {}).content.decode()


def test_nothing_is_read_off_a_quarantined_driver(technician: Person) -> None:
    """It is kept as it is: it is not switched on to be read."""
    device = a_device()
    order = received(device, technician, kind="planned")
    an_open_tag(device, harm="yes")
    with pytest.raises(MoveRefusedError, match="quarantine"):
        bench.read_off(order, firmware="3.2.1", by=as_actor(technician))
