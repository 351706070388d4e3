"""Signing: the end of an order by whoever finishes it, and before that the work by whoever did it."""

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.bench.actions.holding import refuse_outdated, workable
from fleet.bench.models import Order, Signature
from fleet.bench.queries import SIGNED, digest_of, has_worked, meaning_for, parts_of, standing, work_of
from fleet.core.errors import MoveRefusedError, NotAllowedError
from fleet.core.orders import Outcome
from fleet.web import clock


def sign(order: Order, by: Actor) -> Signature | None:
    """Sign a held, finished order as it now stands; None where no person acts (a command signs nothing).

    Whoever calls has had the person prove who they are (`people.proof`); the time is the server's.
    """
    if by.person_id is None:
        return None
    return _put(order, meaning_for(order, Outcome(order.outcome), by.person_id), parts_of(order), by.person_id, by)


@transaction.atomic
def sign_work(order: Order, *, revision: int, by: Actor) -> Signature:
    """Sign the steps, tests and parts of an order that a colleague will check and finish.

    The caller has had the person prove who they are. Raises ConflictError for a form older than the order,
    NotAllowedError for who did none of it, MoveRefusedError while a required step is open.
    """
    row = workable(order, by)
    refuse_outdated(row, revision)
    if by.person_id is None or not has_worked(row, by.person_id):
        raise NotAllowedError("Only somebody who answered a step or made a test of this order signs its work.")
    if missing := standing(row).missing:
        raise MoveRefusedError(f"Answer every step that must pass before you sign; {missing} still open.")
    return _put(row, Signature.Meaning.DONE, work_of(parts_of(row)), by.person_id, by)


def _put(order: Order, meaning: Signature.Meaning, parts: dict[str, str], person: int, by: Actor) -> Signature:
    row = Signature(
        order=order,
        by_id=person,
        by_name=by.name[:120],
        meaning=meaning,
        signed_at=clock.now(),
        parts=parts,
    )
    row.digest = digest_of(row)
    row.save(force_insert=True)
    after = {"meaning": str(row.get_meaning_display()), "digest": row.digest}
    record(Happening(SIGNED, order, device_id=order.device_id, after=after), by=by)
    return row
