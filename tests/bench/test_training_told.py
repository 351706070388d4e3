"""What is on record of a worker's training is told on the order, its sheet and what is signed; a bench may refuse."""

import pytest
from django.urls import reverse

from fleet.bench import actions as bench
from fleet.bench.models import Order, Signature, TrainingTold
from fleet.bench.queries import signatures
from fleet.core.errors import MoveRefusedError
from fleet.people.models import Person
from fleet.staff.actions import set_training_policy, withdraw_training
from tests.bench.builders import CHECK, a_procedure, as_actor, finish, good, put, received, step, work
from tests.builders import BY, a_bench, a_device, a_site
from tests.pages import page
from tests.staff.builders import a_training, in_days

pytestmark = pytest.mark.django_db


def told(order: Order) -> list[tuple[str, bool]]:
    return [(row.person_name, row.covered) for row in TrainingTold.objects.filter(order=order)]


def test_it_is_marked_unless_a_place_refuses(technician: Person) -> None:
    """Without training on record work goes on by default; order and sheet say so, once for each person."""
    order = received(a_device(), technician, kind="planned")
    own = reverse("bench:order", args=[order.number])
    assert "no training on record" in page(technician, own)
    put(order, 1, good(step(order, 1)), technician)
    put(order, 2, good(step(order, 2)), technician)
    assert told(order) == [("Tova Lindqvarn", False)]
    for address in (own, reverse("bench:sheet", args=[order.number])):
        assert "no training on record" in page(technician, address).lower()


def test_it_stays_as_it_was_told(technician: Person) -> None:
    """A record withdrawn later changes nothing of what stood when the work began, nor voids the signature."""
    row = a_training(technician, ends_on=in_days(100))
    order = finish(work(received(a_device(), technician, kind="planned"), technician), technician)
    withdraw_training(row, "Slip", by=BY)
    sheet = page(technician, reverse("bench:sheet", args=[order.number]))
    assert "training on record until" in sheet
    assert [signed.holds for signed in signatures(order)] == [True]


def test_it_is_part_of_what_is_signed(technician: Person, second_technician: Person) -> None:
    """Changed behind the actions' back, the final signature is void; whoever finishes voids nobody's before theirs."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    bench.sign_work(order, revision=Order.objects.get(pk=order.pk).revision, by=as_actor(technician))
    done = finish(order, second_technician)
    assert [signed.holds for signed in signatures(done)] == [True, True]
    assert told(done) == [("Tova Lindqvarn", False), ("Bram Ostley", False)]
    TrainingTold.objects.filter(person=technician).update(covered=True)
    held = {signed.signature.meaning: signed.changed for signed in signatures(done)}
    assert held[Signature.Meaning.SECOND] == ("training told",)


def test_a_place_may_refuse_the_work_and_never_the_driver(technician: Person, second_technician: Person) -> None:
    """The driver is taken in, nobody's; its work and giving it away is refused; whoever is trained takes it."""
    set_training_policy(a_site(), "refuse", by=BY)
    device = a_device()
    order = received(device, technician, kind="planned")
    assert Order.objects.get(pk=order.pk).assigned_to is None
    with pytest.raises(MoveRefusedError, match="no training on record for Tarnwick Instruments TW-10"):
        put(order, 1, good(step(order, 1)), technician)
    with pytest.raises(MoveRefusedError):
        bench.assign(order, technician, by=as_actor(second_technician))
    with pytest.raises(MoveRefusedError):
        bench.take(order, by=as_actor(technician))
    assert told(order) == []
    a_training(second_technician)
    bench.take(order, by=as_actor(second_technician))
    put(order, 1, good(step(order, 1)), second_technician)
    assert told(order) == [("Bram Ostley", True)]


def test_what_was_begun_goes_on(technician: Person) -> None:
    """Training that ends, or a rule that comes, while an order is worked on does not strand its driver."""
    order = received(a_device(), technician, kind="planned")
    put(order, 1, good(step(order, 1)), technician)
    set_training_policy(a_bench(), "refuse", by=BY)
    put(order, 2, good(step(order, 2)), technician)
    assert Order.objects.get(pk=order.pk).readings.count() == 2


def test_a_repair_asks_for_training_in_repairs(technician: Person) -> None:
    """Training for repairs covers a repair and not a service of the same type."""
    a_training(technician, work="repair")
    a_procedure("planned", (CHECK,), code="one-check")
    for kind, covered in (("corrective", True), ("planned", False)):
        order = received(a_device(), technician, kind=kind)
        put(order, 1, good(step(order, 1)), technician)
        assert told(order) == [("Tova Lindqvarn", covered)]
