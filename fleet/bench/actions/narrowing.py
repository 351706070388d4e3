"""What a recheck asks for is settled when it is begun, kept with it, and widened to the whole procedure at will."""

from collections.abc import Collection

from django.db import transaction
from django.utils import timezone

from fleet.audit.actors import Actor
from fleet.bench.actions.holding import put, unfinished, workable
from fleet.bench.models import NOT_ASKED, Order, Reading, Step
from fleet.bench.queries.narrowing import asked_of
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.orders import OrderState
from fleet.web import clock
from fleet.web.phrases import moment


def narrow(order: Order, by: Actor) -> Order:
    """Settle which steps a held, begun recheck asks for; one that was widened, or asks for all, stays as it is.

    A step that is not asked for is answered as not applicable, in nobody's name, so that all that must hold before a
    driver returns holds here too. A step that is asked for after all is open again.
    """
    if order.state == OrderState.RAISED or order.widened_why:
        return order
    asked = asked_of(order)
    if asked is None or (order.asked_words and not order.asked):
        return order
    row = put(order, "settled what the recheck asks for", by=by, asked=list(asked.positions), asked_words=asked.words)
    _pass_over(row, asked.positions)
    return row


@transaction.atomic
def widen(order: Order, why: str, *, by: Actor) -> Order:
    """Ask for the whole procedure after all; answers that were given stay. Raises MoveRefusedError where it is asked.

    Whoever widens it and why stand on the order.
    """
    row = workable(order, by)
    if not why.strip():
        raise BadValueError("Say why the whole procedure is worked.", field="why")
    if not row.asked:
        raise MoveRefusedError(f"Order {row} asks for its whole procedure already.")
    return widen_held(row, why.strip(), by)


def widen_held(order: Order, why: str, by: Actor) -> Order:
    """The same for a held order, also while it rests."""
    said = f"{why} ({by.name}, {moment(timezone.localtime(clock.now()))})"
    row = put(order, "widened to the whole procedure", by=by, why=why, asked=[], widened_why=said)
    _pass_over(row, ())
    return row


def narrow_again(order: Order, by: Actor) -> Order:
    """Settle it anew after another calibration put more in doubt."""
    return narrow(unfinished(order, by), by)


def _pass_over(order: Order, asked: Collection[int]) -> None:
    """Answer what is not asked for in nobody's name, and open what is; nothing is passed over where none is named."""
    held = Reading.objects.filter(order=order, latest=True)
    untold = held.filter(by__isnull=True, verdict=Reading.Verdict.NOT_APPLICABLE, note=NOT_ASKED)
    if not asked:
        untold.update(latest=False)
        return
    untold.filter(step__position__in=asked).update(latest=False)
    left = Step.objects.filter(version=order.procedure_version_id).exclude(position__in=asked)
    left = left.exclude(pk__in=held.values("step"))
    now = clock.now()
    Reading.objects.bulk_create(
        Reading(order=order, step=step, verdict=Reading.Verdict.NOT_APPLICABLE, note=NOT_ASKED, taken_at=now)
        for step in left
    )
