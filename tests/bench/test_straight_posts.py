"""Whoever sends a form past its page is held to the same order of steps (OWASP ASVS 5.0.0, 2.3.1)."""

from collections.abc import Callable

import pytest

from fleet.bench.models import Order
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.tags.actions import open_quarantine
from tests.bench.builders import again, finish, fresh, received, signed_in, work
from tests.bench.test_signing import end
from tests.builders import BY, PASSWORD, a_device
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db


def tagged_order(technician: Person) -> Order:
    device = a_device()
    an_open_tag(device)
    return received(device, technician, kind="corrective")


def unanswered(technician: Person) -> Order:
    return tagged_order(technician)


def under_quarantine(technician: Person) -> Order:
    order = work(tagged_order(technician), technician)
    open_quarantine(order.device, reason="A pump ran on after its end", by=BY)
    return order


SITUATIONS: dict[str, Callable[[Person], Order]] = {
    "no step is answered": unanswered,
    "a quarantine is open": under_quarantine,
}


@pytest.mark.parametrize("situation", SITUATIONS)
def test_a_driver_is_not_released_by_a_form_sent_straight(situation: str, technician: Person) -> None:
    """Sent right to the end of the order, with the right password: refused in words, and it stays out of use."""
    order = SITUATIONS[situation](technician)
    answer = signed_in(technician).post(f"/bench/orders/{order}/finish/", end(order))
    assert answer.status_code in {403, 409, 422}
    assert again(order.device).condition != "in_service"
    assert fresh(order).completed_at is None


def test_an_order_that_is_over_takes_nothing_more(technician: Person) -> None:
    """Neither another end, nor another answer, nor a part."""
    order = finish(work(tagged_order(technician), technician), technician)
    before = fresh(order).revision
    client = signed_in(technician)
    sent = [
        client.post(f"/bench/orders/{order}/finish/", end(order, outcome="scrapped")),
        client.post(f"/bench/orders/{order}/steps/1/", {"revision": before, "verdict": "fail", "note": "x"}),
    ]
    assert all(answer.status_code in {409, 422} for answer in sent)
    assert fresh(order).revision == before


def test_a_nurse_sends_no_end_of_an_order(technician: Person, ward_nurse: Person) -> None:
    """A form of the bench sent by somebody of the ward is refused before it is read."""
    order = work(tagged_order(technician), technician)
    assert signed_in(ward_nurse).post(f"/bench/orders/{order}/finish/", end(order)).status_code == 403
    assert fresh(order).completed_at is None


def test_a_condition_cannot_be_sent(technician: Person) -> None:
    """Extra fields in a form change nothing: a condition follows from acts, and no form holds it."""
    order = tagged_order(technician)
    data = {**end(order), "condition": "in_service", "accepted_on": "2020-01-01", "quarantined": ""}
    signed_in(technician).post(f"/bench/orders/{order}/finish/", data)
    assert Device.objects.get(pk=order.device_id).condition == "on_bench"
    assert PASSWORD not in str(fresh(order).__dict__)
