"""Signing the end of an order."""

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.bench.models import Order, Signature
from fleet.bench.queries import SIGNED, digest_of, meaning_for, parts_of
from fleet.core.orders import Outcome
from fleet.web import clock


def sign(order: Order, by: Actor) -> Signature | None:
    """Sign a held, finished order as it now stands; None where no person acts (a command signs nothing).

    Whoever calls has had the person prove who they are (`people.proof`); the time is the server's.
    """
    if by.person_id is None:
        return None
    row = Signature(
        order=order,
        by_id=by.person_id,
        by_name=by.name[:120],
        meaning=meaning_for(order, Outcome(order.outcome), by.person_id),
        signed_at=clock.now(),
        parts=parts_of(order),
    )
    row.digest = digest_of(row)
    row.save(force_insert=True)
    after = {"meaning": str(row.get_meaning_display()), "digest": row.digest}
    record(Happening(SIGNED, order, device_id=order.device_id, after=after), by=by)
    return row
