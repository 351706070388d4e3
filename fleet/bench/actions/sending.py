"""Answers that a screen kept until the server had them: each counts once, however often it is sent."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from django.db import transaction

from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench.actions.holding import hold
from fleet.bench.actions.steps import Answer, answer
from fleet.bench.models import Order, Presence, Reading, Step
from fleet.core.errors import ConflictError
from fleet.core.kept import AT_ONCE
from fleet.core.permissions import May
from fleet.web import clock

#: How much younger a person's presence must be before it is written again: a page that looks often writes seldom.
_AGAIN_AFTER: Final = timedelta(seconds=10)


@dataclass(frozen=True, slots=True)
class Sent:
    """How an answer came: from a form opened on `revision` of the order, after waiting on a screen for `held`.

    `key` names this one answer for good; empty where it has none. `knows_own`: the same screen still kept an earlier
    answer of the same person to this step when it was typed, so that one is corrected knowingly.
    """

    revision: int
    key: str = ""
    held: timedelta = timedelta(0)
    knows_own: bool = False


@transaction.atomic
def answer_once(order: Order, step: Step, given: Answer, sent: Sent, *, by: Actor) -> Reading:
    """Answer a step; the same answer sent again (`sent.key`) is the one that stands already.

    One that waited on a screen was taken then and entered now, by the server's clock; the wait is the screen's own
    measure, so a screen whose clock is wrong dates nothing wrongly. Raises as `answer` does, and ConflictError for a
    key that belongs to another answer.
    """
    row = hold(order, by)
    if sent.key and (known := Reading.objects.filter(sent_key=sent.key).select_related("step").first()):
        if (known.order_id, known.step_id, known.by_id) != (row.pk, step.pk, by.person_id):
            raise ConflictError("This answer was sent before, for another step or by somebody else. Type it anew.")
        return known
    reading = answer(order, step, given, revision=sent.revision, by=by, knows_own=sent.knows_own)
    now = clock.now()
    taken = max(now - sent.held, row.received_at or now)
    late = {"taken_at": taken, "entered_at": now} if now - taken >= AT_ONCE else {}
    change(reading, sent_key=sent.key or None, **late)
    return reading


def look_in(order: Order, position: int | None, *, by: Actor) -> None:
    """Note that somebody has an order open, at which step. It is no act on the record, so the trail is not told."""
    by.must(May.WORK_ON_BENCH)
    if by.person_id is None:
        return
    now = clock.now()
    known = Presence.objects.filter(order=order, person_id=by.person_id)
    fresh = known.filter(position=position, seen_at__gte=now - _AGAIN_AFTER)
    if not fresh.exists():
        Presence.objects.update_or_create(
            order=order, person_id=by.person_id, defaults={"position": position, "seen_at": now}
        )
