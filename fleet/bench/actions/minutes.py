"""What an order takes besides parts: minutes, entered or by a clock that runs on it, and what others are paid."""

from datetime import date
from decimal import Decimal
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench.actions.holding import hold, put, unfinished
from fleet.bench.models import ExternalCost, Labour, LabourClock, LabourRate, Order
from fleet.bench.queries import clocks_on, minutes_shown, running_clock
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.registry.models import Party
from fleet.web import clock

MOST_MINUTES: Final = 24 * 60
#: A clock that has run longer was forgotten: nobody knows how long was worked, so a person says it (our own rule).
LONGEST_RUN: Final = 10 * 60


@transaction.atomic
def add_labour(
    order: Order, minutes: int, *, by: Actor, activity: Labour.Activity = Labour.Activity.HANDS_ON
) -> Labour:
    """Record minutes that the actor spent on an order that is not finished."""
    return put_labour(unfinished(order, by), minutes, by, activity)


def put_labour(
    order: Order,
    minutes: int,
    by: Actor,
    activity: Labour.Activity = Labour.Activity.HANDS_ON,
    person_id: int | None = None,
) -> Labour:
    """Record minutes on a held order: the actor's own, or those of the person whose clock ran."""
    if not 1 <= minutes <= MOST_MINUTES:
        raise BadValueError(f"{minutes} minutes? Give whole minutes from 1 to {MOST_MINUTES}.", field="minutes")
    labour = Labour.objects.create(
        order=order, person_id=person_id or by.person_id, activity=activity, minutes=minutes, entered_at=clock.now()
    )
    put(order, "added minutes", by=by, told={"minutes": minutes, "activity": str(activity)})
    return labour


@transaction.atomic
def start_clock(order: Order, *, by: Actor, activity: Labour.Activity = Labour.Activity.HANDS_ON) -> LabourClock:
    """Let the actor's time run on an order. One that runs on another order is stopped first and booked there.

    Raises BadValueError where that one has run too long to be booked as it is.
    """
    if by.person_id is None:
        raise BadValueError("Only somebody who is signed in works by the clock.", field="activity")
    if (running := running_clock(by.person_id)) is not None:
        if running.order_id == order.pk:
            raise MoveRefusedError("Your clock runs on this order already.")
        stop_clock(running.order, by=by)
    row = unfinished(order, by)
    started = LabourClock.objects.create(order=row, person_id=by.person_id, activity=activity, started_at=clock.now())
    put(row, "started clock", by=by, told={"activity": str(activity)})
    return started


@transaction.atomic
def stop_clock(order: Order, *, by: Actor, minutes: int | None = None) -> Labour:
    """Stop the actor's clock on an order and book what it shows, at least one minute; or `minutes`, if it was wrong.

    A clock forgotten for more than LONGEST_RUN minutes books nothing by itself: BadValueError asks for the minutes.
    """
    row = hold(order, by)
    held = clocks_on(row).select_for_update(of=("self",)).filter(person=by.person_id).first()
    if held is None:
        raise MoveRefusedError("No clock of yours runs on this order; it may have been stopped elsewhere.")
    shown = minutes_shown(held, clock.now())
    if minutes is None and shown > LONGEST_RUN:
        raise BadValueError(
            f"Your clock has run {shown // 60} h on order {order}. Stop it there with the minutes that you worked.",
            field="minutes",
        )
    return _book(row, held, minutes or shown, by)


def stop_all(order: Order, by: Actor) -> None:
    """Stop every clock on a held order that ends, and book it; one forgotten too long is stopped and books nothing."""
    for running in clocks_on(order).select_for_update(of=("self",)).order_by("pk"):
        shown = minutes_shown(running, clock.now())
        if shown > LONGEST_RUN:
            change(running, stopped_at=clock.now())
            put(order, "stopped forgotten clock", by=by, told={"person": str(running.person), "showed": shown})
        else:
            _book(order, running, shown, by)


def _book(order: Order, running: LabourClock, minutes: int, by: Actor) -> Labour:
    labour = put_labour(order, minutes, by, Labour.Activity(running.activity), running.person_id)
    change(running, stopped_at=clock.now(), labour=labour)
    return labour


@transaction.atomic
def add_external(
    order: Order, words: str, amount: Decimal, *, by: Actor, provider: Party | None = None
) -> ExternalCost:
    """Record what somebody else was paid for an order; also after it is finished, for bills come late."""
    row = hold(order, by)
    if not words.strip():
        raise BadValueError("Say what was paid for.", field="words")
    if amount < 0:
        raise BadValueError("An amount is not below zero.", field="amount")
    cost = ExternalCost.objects.create(
        order=row,
        provider=provider,
        words=words.strip(),
        amount=amount,
        entered_at=clock.now(),
        by_name=by.name[:120],
    )
    put(row, "added outside cost", by=by, told={"words": cost.words, "amount": str(amount)})
    return cost


@transaction.atomic
def void_external(cost: ExternalCost, why: str, *, by: Actor) -> ExternalCost:
    """Let an outside cost entered by mistake count no more; it stays on record with the reason."""
    order = hold(cost.order, by)
    row = ExternalCost.objects.select_for_update(of=("self",)).get(pk=cost.pk)
    if row.voided_at is not None:
        raise MoveRefusedError("It counts no more already.")
    if not why.strip():
        raise BadValueError("Say why it does not count.", field="why")
    change(row, voided_at=clock.now(), voided_why=why.strip())
    put(order, "voided outside cost", by=by, told={"words": row.words, "amount": str(row.amount)}, why=why.strip())
    return row


@transaction.atomic
def set_rate(per_hour: Decimal, from_on: date, *, by: Actor, source: str = "") -> LabourRate:
    """State what an hour of the bench costs from a day on; said again for the same day, it is corrected."""
    by.must(May.EDIT_REGISTRY)
    if per_hour < 0:
        raise BadValueError("A price is not below zero.", field="per_hour")
    row = LabourRate.objects.select_for_update().filter(from_on=from_on).first() or LabourRate(from_on=from_on)
    before = {"per_hour": row.per_hour} if row.pk else {}
    row.per_hour, row.source, row.set_by, row.set_at = per_hour, source.strip(), by.name[:120], clock.now()
    row.save()
    told = {"per_hour": per_hour, "from_on": from_on, "source": row.source}
    record(Happening("stated price of an hour", row, before=before, after=told), by=by)
    return row
