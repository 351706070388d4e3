"""Orders given to somebody: who could do them, a note that goes along, taken back; two at once are told."""

import pytest
from django.urls import reverse

from fleet.bench import actions as bench
from fleet.bench.models import Handover, Order
from fleet.bench.queries import candidates, given_to
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.people.actions import note_absence
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.reports.digest import digest_of, text
from fleet.web import clock
from fleet.web.phrases import day
from tests.bench.builders import as_actor, finish, received, work
from tests.builders import BY, a_device, a_person, a_site, a_ward
from tests.pages import page, signed_in, status
from tests.staff.builders import a_training, in_days

pytestmark = pytest.mark.django_db

GIVE = reverse("bench:assign")
QUEUE = reverse("bench:queue")


def opened(*orders: Order) -> str:
    """What the page carries along of whose each order is."""
    return " ".join(f"{order.number}:{order.assigned_to_id or ''}" for order in orders)


def address(*orders: Order) -> str:
    return f"{GIVE}?{'&'.join(f'order={order.number}' for order in orders)}"


def again(order: Order) -> Order:
    return Order.objects.get(pk=order.pk)


def test_an_order_is_given_with_a_note(technician: Person, second_technician: Person) -> None:
    """It is the other's, who reads the note above the queue, on the order and in the morning mail."""
    order = received(a_device(), technician, kind="planned")
    sent = {"person": second_technician.pk, "note": "Case is open, screws in the tray", "opened": opened(order)}
    answer = signed_in(technician).post(address(order), sent)
    assert answer["Location"] == reverse("bench:order", args=[order.number])
    assert again(order).assigned_to == second_technician
    yours = page(second_technician, QUEUE).split('id="yours"')[1].split("</section>")[0]
    assert order.number in yours
    assert "given to you by Tova Lindqvarn" in yours
    assert "screws in the tray" in page(second_technician, reverse("bench:order", args=[order.number]))
    assert "screws in the tray" in text(digest_of(second_technician, clock.today()))
    assert "screws in the tray" not in text(digest_of(technician, clock.today()))


def test_several_are_given_from_the_queue_all_or_none(technician: Person, second_technician: Person) -> None:
    """Ticked in the queue, given in one step; where one cannot be given, none is."""
    orders = [received(a_device(), technician, kind="planned") for _ in range(2)]
    html = page(technician, QUEUE)
    assert all(f'name="order" value="{order.number}" form="assign"' in html for order in orders)
    sent = {"person": second_technician.pk, "note": "", "opened": opened(*orders)}
    bench.take(orders[1], by=as_actor(second_technician))
    refused = signed_in(technician).post(address(*orders), sent)
    assert "Bram Ostley" in refused.content.decode()
    assert again(orders[0]).assigned_to == technician
    sent["opened"] = refused.context["form"].data["opened"]
    assert signed_in(technician).post(address(*orders), sent)["Location"] == QUEUE
    assert {again(order).assigned_to for order in orders} == {second_technician}


def test_two_at_once_are_told(technician: Person, second_technician: Person, manager: Person) -> None:
    """The second to give the same order away reads whose it is by now, by whom, and gives nothing."""
    order = received(a_device(), technician, kind="planned")
    bench.assign(order, second_technician, by=as_actor(manager), opened=str(technician.pk))
    with pytest.raises(ConflictError, match=r"is Bram Ostley's by now \(Maud Ferrant assigned order"):
        bench.assign(order, None, by=as_actor(technician), opened=str(technician.pk))


def test_it_can_be_taken_back(technician: Person, second_technician: Person, manager: Person) -> None:
    """Whoever gave it, or a manager, takes it back as long as it has not gone on; the hand-over stays on record."""
    order = received(a_device(), technician, kind="planned")
    bench.assign(order, second_technician, by=as_actor(technician))
    row = Handover.objects.get()
    with pytest.raises(NotAllowedError):
        bench.undo_handover(row, by=as_actor(second_technician))
    undo = reverse("bench:undo_handover", args=[order.number, row.pk])
    assert "Take it back" in page(technician, reverse("bench:order", args=[order.number]))
    signed_in(technician).post(undo)
    assert again(order).assigned_to == technician
    assert Handover.objects.get().undone_name == "Tova Lindqvarn"
    assert given_to(second_technician) == {}
    with pytest.raises(ConflictError):
        bench.undo_handover(row, by=as_actor(manager))


def test_what_is_known_of_each_colleague(technician: Person, second_technician: Person, manager: Person) -> None:
    """Open orders with their usual minutes, training for this type, days away, whether they see the driver."""
    finish(work(received(a_device(), technician, kind="planned"), technician), technician, minutes=40)
    held = received(a_device(), technician, kind="planned")
    far = a_person(Role.TECHNICIAN, "Osric Tindell", (a_ward("Ward 9"),))
    a_training(second_technician, ends_on=in_days(-1))
    note_absence(second_technician, clock.today(), in_days(200), "private", by=BY)
    order = received(a_device(a_ward("Ward 5")), second_technician, kind="planned")
    found = {str(one.person): one for one in candidates([order], manager, clock.today())}
    assert (found["Tova Lindqvarn"].orders, found["Tova Lindqvarn"].minutes) == (1, 40)
    assert (found["Bram Ostley"].orders, found["Bram Ostley"].away_until) == (1, in_days(200))
    assert not found["Osric Tindell"].sees
    html = page(manager, address(order)).replace("\u00a0", " ")
    assert "usually 40 min" in html
    assert f"until {day(in_days(200))}".replace("\u00a0", " ") in html
    assert "private" not in html
    assert "Ended" in html.split("Bram Ostley")[-1]
    assert f'value="{far.pk}"' not in html
    assert held.assigned_to == technician


def test_who_cannot_see_or_do_it_is_refused(technician: Person, ward_nurse: Person, outsider: Person) -> None:
    """Somebody of another site, somebody who does not work on the bench, somebody who left: refused by the action."""
    order = received(a_device(), technician, kind="planned")
    gone = a_person(Role.TECHNICIAN, "Petra Marrack", (a_site(),))
    gone.is_active = False
    gone.save(update_fields=["is_active"])
    for person in (ward_nurse, outsider, gone):
        with pytest.raises(BadValueError):
            bench.assign(order, person, by=as_actor(technician))
    assert again(order).assigned_to == technician
    assert status(outsider, address(order)) == 404


def test_somebody_away_is_given_it_with_a_warning(technician: Person, second_technician: Person) -> None:
    """It is not refused: whoever gave it reads that they are away and what is on record of their training."""
    note_absence(second_technician, clock.today(), clock.today(), by=BY)
    order = received(a_device(), technician, kind="planned")
    sent = {"person": second_technician.pk, "opened": opened(order)}
    html = signed_in(technician).post(address(order), sent, follow=True).content.decode()
    assert "no training on record" in html
    assert "away now" in html


def test_nobody_chosen_or_nothing_ticked(technician: Person) -> None:
    """No person chosen is said beside the list; no order ticked leads back to the queue with what to do."""
    order = received(a_device(), technician, kind="planned")
    answer = signed_in(technician).post(address(order), {"opened": opened(order)})
    assert (answer.status_code, "Choose who does it" in answer.content.decode()) == (422, True)
    assert "Tick the orders" in signed_in(technician).get(GIVE, follow=True).content.decode()
    signed_in(technician).post(address(order), {"person": "nobody", "opened": opened(order)})
    assert again(order).assigned_to is None
