"""Whose an order is: taken, given to somebody with a note, taken back."""

from collections.abc import Iterable

from django.db import transaction

from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.audit.models import TrailEntry
from fleet.bench.actions.holding import described, hold, put
from fleet.bench.actions.trained import refuse_untrained
from fleet.bench.models import Handover, Order
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.orders import OPEN_STATES
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.web import clock


@transaction.atomic
def assign(order: Order, person: Person | None, *, by: Actor, note: str = "", opened: str | None = None) -> Order:
    """Give an order to somebody who works on the bench and sees its driver, or to nobody.

    `opened`: the id of whose it was when the page was opened, "" for nobody's. Raises ConflictError if it is somebody
    else's by now, BadValueError or MoveRefusedError for who cannot have it.
    """
    row = _open(order, by)
    if opened is not None and opened != str(row.assigned_to_id or ""):
        raise ConflictError(_moved(row))
    if person is not None:
        _ask_person(row, person)
    if (person.pk if person else None) == row.assigned_to_id:
        return row
    Handover.objects.create(
        order=row,
        to=person,
        was_id=row.assigned_to_id,
        by_id=by.person_id,
        by_name=by.name[:120],
        note=note.strip()[:200],
        at=clock.now(),
    )
    return put(row, "assigned order", by=by, why=note.strip(), assigned_to_id=person.pk if person else None)


@transaction.atomic
def assign_many(
    orders: Iterable[tuple[Order, str]], person: Person | None, *, by: Actor, note: str = ""
) -> list[Order]:
    """Give several orders, each with whose it was when the page was opened, to one person: all of them or none."""
    in_order = sorted(orders, key=lambda each: (each[0].device_id, each[0].pk))
    return [assign(order, person, by=by, note=note, opened=opened) for order, opened in in_order]


@transaction.atomic
def take(order: Order, *, by: Actor) -> Order:
    """Make an order one's own."""
    if by.person_id is None:
        raise BadValueError("Only somebody who is signed in takes an order.", field="assigned_to")
    row = _open(order, by)
    refuse_untrained(row, by.person_id, by.name)
    return put(row, "assigned order", by=by, assigned_to_id=by.person_id)


@transaction.atomic
def undo_handover(handover: Handover, *, by: Actor) -> Order:
    """Take an order back that one gave away (whoever keeps team records: that anybody gave); it is whose it was.

    Raises ConflictError once it has gone on to somebody else.
    """
    row = _open(handover.order, by)
    if handover.by_id != by.person_id and May.KEEP_TEAM not in by.duties:
        raise NotAllowedError("Only who gave an order away takes it back. You can make it yours.")
    held = row.handovers.select_for_update(of=("self",)).get(pk=handover.pk)
    if held.undone_at is not None or row.assigned_to_id != held.to_id:
        raise ConflictError(_moved(row))
    change(held, undone_at=clock.now(), undone_name=by.name[:120])
    return put(row, "took order back", by=by, assigned_to_id=held.was_id)


def _open(order: Order, by: Actor) -> Order:
    row = hold(order, by)
    if row.state not in OPEN_STATES:
        raise MoveRefusedError(f"Order {row} is {row.get_state_display().lower()}; there is nothing left to assign.")
    return row


def _ask_person(order: Order, person: Person) -> None:
    if not person.is_active or May.WORK_ON_BENCH not in actor_for(person).duties:
        raise BadValueError(f"{person} does not work on the bench. Choose somebody who does.", field="person")
    if not Device.objects.within(person).filter(pk=order.device_id).exists():
        seen = f"{person} sees neither the home of {order.device} nor where it is, so could not open order {order}."
        raise BadValueError(seen, field="person")
    refuse_untrained(order, person.pk, str(person))


def _moved(order: Order) -> str:
    entries = TrailEntry.objects.filter(subject_kind="order", subject_id=order.pk, after__has_key="assigned_to_id")
    last = entries.first()
    whose = f"is {order.assigned_to}'s" if order.assigned_to else "is nobody's"
    told = f" ({described(last)})" if last else ""
    return f"Order {order} {whose} by now{told}. Nothing was given away; look at it and decide again."
