"""What every act on an order begins and ends with: the locks, the refusal of an outdated form, the changed row."""

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.audit.models import TrailEntry
from fleet.bench.actions.trained import tell_training
from fleet.bench.models import Order
from fleet.bench.queries import no_work
from fleet.core.errors import ConflictError, MoveRefusedError
from fleet.core.orders import OrderState
from fleet.core.permissions import May
from fleet.registry.models import Device


def hold_device(device: Device) -> Device:
    """Lock a device's row. Always before its orders, so that two acts never wait for each other.

    Without joins: PostgreSQL drops a row it waited for when the place joined to it has changed meanwhile.
    """
    return Device.objects.select_for_update().get(pk=device.pk)


def hold(order: Order, by: Actor) -> Order:
    """Lock an order and its device for somebody who works on the bench; `.device` is the locked row."""
    by.must(May.WORK_ON_BENCH)
    device = hold_device(order.device)
    row = Order.objects.select_for_update().get(pk=order.pk)
    row.device = device
    return row


def workable(order: Order, by: Actor) -> Order:
    """Lock an order and its device for work: the driver is on the bench, free of quarantine, and the order is begun.

    What is on record of the training of whoever works is told on the order. Raises MoveRefusedError that says what may
    be done instead.
    """
    row = hold(order, by)
    if words := no_work(row.device, row):
        raise MoveRefusedError(words)
    if row.state != OrderState.STARTED:
        state = row.get_state_display().lower()
        raise MoveRefusedError(f"Order {row} is {state}. It is worked on while it stands on the bench.")
    tell_training(row, by)
    return row


def unfinished(order: Order, by: Actor) -> Order:
    """Lock an order and its device to add something to it; refused once the order is finished or cancelled."""
    row = hold(order, by)
    if row.state in {OrderState.DONE, OrderState.CANCELLED}:
        raise MoveRefusedError(f"Order {row} is {row.get_state_display().lower()}; nothing is added to it.")
    return row


def put(  # noqa: PLR0913 - one trail entry tells what, more, why and when
    order: Order,
    verb: str,
    *,
    by: Actor,
    told: dict[str, Any] | None = None,
    why: str = "",
    done_at: datetime | None = None,
    **values: Any,
) -> Order:
    """Change a held order, raise its revision and tell the trail; `told` goes there beside the changed fields."""
    before, after = change(order, revision=order.revision + 1, **values)
    entry = Happening(
        verb, order, device_id=order.device_id, before=before, after={**after, **(told or {})}, why=why, done_at=done_at
    )
    record(entry, by=by)
    return order


def since(order: Order, revision: int) -> QuerySet[TrailEntry]:
    """What was done to an order after `revision`, the last first."""
    return TrailEntry.objects.filter(subject_kind="order", subject_id=order.pk, after__revision__gt=revision)


def refuse_outdated(order: Order, revision: int) -> None:
    """Refuse a form opened before somebody else changed the order; the message names who changed what."""
    if revision != order.revision:
        changes = "; ".join(described(entry) for entry in since(order, revision)[:3])
        raise ConflictError(
            f"Order {order} was changed after you opened it: {changes or 'look at it again'}. "
            "What you typed is still here; check it against the change and send it again."
        )


def described(entry: TrailEntry) -> str:
    """One change in words: who, what, when."""
    steps = ", ".join(f"step {position}: {answer}" for position, answer in entry.after.get("steps", {}).items())
    moment = timezone.localtime(entry.entered_at)
    return f"{entry.actor} {entry.verb}{f' ({steps})' if steps else ''} at {moment:%H:%M}"
