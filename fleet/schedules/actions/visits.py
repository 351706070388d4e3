"""What people do to a due between its dates: put it off, try in vain, give one driver an interval of its own."""

from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.due import Window
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.schedules.actions.reckon import locked_due, place, reckoned
from fleet.schedules.actions.risk import ask_own_interval
from fleet.schedules.actions.stored import store
from fleet.schedules.models import Due, DueAttempt
from fleet.web import clock
from fleet.web.phrases import day as spoken


@transaction.atomic
def defer(due: Due, until: date, *, why: str, by: Actor) -> Due:
    """Put a due off until a day, which is then its last day too: a deferral brings no second window.

    Needs a reason and a signed-in person. The day it was first due stays on record until it is done.
    """
    by.must(May.DEFER_DUE)
    row = locked_due(due)
    _check_deferral(row, until, why, by)
    before, after = place(
        row,
        Window(min(row.opens_on, until), until, until),
        clock.today(),
        deferred_from=row.deferred_from or row.due_on,
        deferred_why=why.strip(),
        deferred_by_id=by.person_id,
        planned_for=None,
    )
    record(Happening("due deferred", row, device_id=row.device_id, before=before, after=after, why=why), by=by)
    store(row.device)
    return row


def _check_deferral(due: Due, until: date, why: str, by: Actor) -> None:
    if by.person_id is None:
        raise BadValueError("Only a signed-in person can defer work; a job or a command can't.", field="by")
    if due.suspended:
        raise BadValueError(f"{due} no longer counts, so it can't be deferred.", field="until")
    if not why.strip():
        raise BadValueError("Give the reason for putting this off.", field="why")
    earliest = max(due.closes_on, clock.today())
    if until <= earliest:
        msg = f"{spoken(until)} puts nothing off; give a day after {spoken(earliest)}."
        raise BadValueError(msg, field="until")


@transaction.atomic
def attempt(
    due: Due, reason: DueAttempt.Reason, *, note: str = "", at: datetime | None = None, by: Actor
) -> DueAttempt:
    """Record a visit that could not do the work, and why. The due stays as it is."""
    by.must(May.WORK_ON_BENCH)
    row = locked_due(due)
    tried_at = at or clock.now()
    if tried_at > clock.now():
        raise BadValueError("The attempt lies in the future; give when it was made.", field="at")
    if row.suspended:
        raise BadValueError(f"{row} no longer counts; there is nothing to attempt.", field="due")
    return put_attempt(row, reason, note, tried_at, by)


def put_attempt(due: Due, reason: DueAttempt.Reason, note: str, at: datetime, by: Actor) -> DueAttempt:
    """Write down a visit in vain. The caller has checked who and when, and holds the lock."""
    tried = due.attempts.create(due_on=due.due_on, tried_at=at, reason=reason, note=note.strip(), by=by.name[:120])
    words = {"reason": tried.get_reason_display(), "due_on": due.due_on}
    record(Happening("due attempted", due, device_id=due.device_id, after=words, why=note, done_at=at), by=by)
    return tried


@transaction.atomic
def set_own_interval(due: Due, months: int | None, *, why: str, by: Actor, review_on: date | None = None) -> Due:
    """Give one driver its own interval in months, or its plan's again (None), and reckon its due anew.

    A longer one than the plan's needs a driver with history and, for a high-risk type, whoever may set risk limits.
    A deferral, or a driver's own request, still holds for the due that stands.
    """
    by.must(May.EDIT_REGISTRY)
    if months is not None and months < 1:
        raise BadValueError(f"An interval of {months} months is not usable; give 1 or more.", field="months")
    if not why.strip():
        raise BadValueError("Give the reason for an interval that differs from the plan's.", field="why")
    row = locked_due(due)
    ask_own_interval(row, months, by)
    first = change(row, own_every_months=months, **_own_record(months, why, review_on, by))
    second = ({}, {}) if held(row) else place(row, reckoned(row), clock.today())
    before, after = {**first[0], **second[0]}, {**first[1], **second[1]}
    record(Happening("own interval set", row, device_id=row.device_id, before=before, after=after, why=why), by=by)
    store(row.device)
    return row


def _own_record(months: int | None, why: str, review_on: date | None, by: Actor) -> dict[str, Any]:
    if review_on is not None and review_on <= clock.today():
        raise BadValueError("Give a day of review that is still to come.", field="review_on")
    if months is None:
        return {"own_why": "", "own_by": "", "own_on": None, "own_review_on": None}
    return {
        "own_why": why.strip(), "own_by": by.name[:120], "own_on": clock.today(), "own_review_on": review_on
    }  # fmt: skip


def held(due: Due) -> bool:
    """Whether a person or the driver itself has set the day, so that no reckoning moves it."""
    return due.asked_by_device or due.deferred_from is not None
