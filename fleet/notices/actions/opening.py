"""Opening a notice, and closing it."""

import secrets
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor, Source
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.permissions import May
from fleet.jobs.actions import enqueue
from fleet.notices import queries
from fleet.notices.actions.matching import Matched, match
from fleet.notices.actions.orders import AT_ONCE, raise_missing
from fleet.notices.models import Edition, Notice
from fleet.web import clock

#: The kind of the job that raises the orders of a large notice.
ORDERS_JOB: Final = "raise_notice_orders"


@transaction.atomic
def open_notice(notice: Notice, *, by: Actor) -> Matched:
    """Open the draft of a notice, the first or a correction: from now on it holds, and its drivers are kept.

    The orders it asks for are raised now, or by a job where there are many.
    """
    by.must(May.KEEP_NOTICES)
    row = _held(notice)
    draft = row.editions.select_for_update().filter(opened_at=None).first()
    if draft is None:
        raise ConflictError(f"{row} has no draft. Correct it by a new edition to change what it says.")
    _refuse_opening(row, draft)
    later = row.opened_at is not None
    change(draft, opened_at=clock.now(), opened_by_name=by.name[:120])
    values = {"closed_at": None, "closed_how": "", "closed_why": "", "closed_by_name": ""}
    first = {} if later else {"opened_at": clock.now(), "opened_by_name": by.name[:120]}
    before, after = change(row, state=Notice.State.OPEN, edition=draft, **values, **first)
    matched = match(row, draft, by=by, later=later)
    told = {**after, "drivers": matched.new}
    record(Happening("opened safety notice", row, before=before, after=told, why=draft.changes), by=by)
    if draft.raises_orders:
        _raise(row, by)
    return matched


def _refuse_opening(row: Notice, draft: Edition) -> None:
    if row.state == Notice.State.CLOSED and row.opened_at is None:
        raise MoveRefusedError(f"{row} was put aside as not used. Write a new one.")
    if not queries.lines_of(draft):
        raise BadValueError("State first which drivers it concerns: add at least one line.", field="device_type")
    if draft.number > 1 and not draft.changes.strip():
        raise BadValueError("Say what this edition corrects.", field="changes")


def _raise(row: Notice, by: Actor) -> None:
    if queries.counts([row])[row.pk].open <= AT_ONCE:
        raise_missing(row, by=by)
    else:
        payload = {"notice": row.pk, "by": by.name, "person": by.person_id}
        enqueue(ORDERS_JOB, key=f"{ORDERS_JOB}:{row.pk}:{secrets.token_hex(6)}", payload=payload)


def raise_by_job(notice_id: int, *, name: str, person_id: int | None) -> dict[str, int]:
    """Raise the orders of a notice for the person who opened it; begun again it finds those still to be raised."""
    by = Actor(name, Source.JOB, frozenset(May), person_id)
    return {"orders": raise_missing(queries.notices().get(pk=notice_id), by=by)}


@transaction.atomic
def close(notice: Notice, how: str, *, by: Actor, why: str = "") -> Notice:
    """Close a notice. As done only once no driver that can be found is open; with a reason where one is not located."""
    by.must(May.KEEP_NOTICES)
    row, chosen, reason = _held(notice), Notice.Closed(how), why.strip()
    if row.state == Notice.State.CLOSED:
        raise ConflictError(f"{row} was closed already, by {row.closed_by_name}.")
    if (row.state == Notice.State.DRAFT) is not (chosen is Notice.Closed.UNUSED):
        raise BadValueError("A draft is put aside as not used; an open notice is done, or was taken back.", field="how")
    _refuse_closing(row, chosen, reason)
    values = {"closed_how": chosen.value, "closed_why": reason, "closed_by_name": by.name[:120]}
    before, after = change(row, state=Notice.State.CLOSED, closed_at=clock.now(), **values)
    record(Happening("closed safety notice", row, before=before, after=after, why=reason), by=by)
    return row


def _refuse_closing(row: Notice, how: Notice.Closed, reason: str) -> None:
    stand = queries.counts([row])[row.pk]
    if how is Notice.Closed.DONE and stand.open:
        number = f"{stand.open} driver{' is' if stand.open == 1 else 's are'}"
        message = f"{number} still open, counted over all places. Answer each, or say that its issuer took it back."
        raise MoveRefusedError(message)
    if not reason and (how is not Notice.Closed.DONE or stand.not_located):
        lost = f"{stand.not_located} not located" if stand.not_located else "nothing more done"
        raise BadValueError(f"Say why it is closed with {lost}.", field="why")


def _held(notice: Notice) -> Notice:
    return Notice.objects.select_for_update(of=("self",)).select_related("edition").get(pk=notice.pk)
