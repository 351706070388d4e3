"""The writers of what is on order with suppliers."""

from datetime import date

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.registry.models import Place
from fleet.stores.models import Part, Purchase
from fleet.web import clock


@transaction.atomic
def mark_ordered(  # noqa: PLR0913 - what, how many, for where, expected when, by which number
    part: Part, place: Place, quantity: int, expected_on: date, *, by: Actor, reference: str = ""
) -> Purchase:
    """Note that parts were ordered for a place. Raises BadValueError naming the field."""
    by.must(May.KEEP_STORE)
    if quantity < 1:
        raise BadValueError("Order 1 or more.", field="quantity")
    if expected_on < clock.today():
        raise BadValueError("This day is past; give the day on which the delivery is expected.", field="expected_on")
    row = Purchase.objects.create(
        part=part,
        place=place,
        quantity=quantity,
        ordered_on=clock.today(),
        expected_on=expected_on,
        reference=reference.strip(),
        by_name=by.name[:120],
    )
    told = {"quantity": quantity, "expected_on": expected_on, "place": place, "reference": row.reference}
    record(Happening("ordered parts", row, after=told), by=by)
    return row


@transaction.atomic
def call_off(purchase: Purchase, why: str, *, by: Actor) -> Purchase:
    """Let a purchase be expected no more, because it was cancelled or noted by mistake; what has come stays."""
    by.must(May.KEEP_STORE)
    row = Purchase.objects.select_for_update(of=("self",)).get(pk=purchase.pk)
    if row.closed_on is not None:
        raise MoveRefusedError("This purchase is closed already.")
    if not why.strip():
        raise BadValueError("Say why it comes no more.", field="why")
    before, after = change(row, closed_on=clock.today(), closed_why=why.strip())
    record(Happening("called off parts", row, before=before, after=after, why=why.strip()), by=by)
    return row


def arrive(part: Part, place: Place, quantity: int, *, by: Actor) -> None:
    """Count so many as come against what is open for the place's site, for this place and then the first expected."""
    open_ones = Purchase.objects.select_for_update(of=("self",)).filter(
        part=part, place__site_id=place.site_id, closed_on__isnull=True
    )
    for row in sorted(open_ones.order_by("expected_on", "pk"), key=lambda each: each.place_id != place.pk):
        if not (here := min(quantity, row.outstanding)):
            return
        quantity -= here
        arrived = row.arrived + here
        before, after = change(row, arrived=arrived, closed_on=clock.today() if arrived == row.quantity else None)
        record(Happening("parts arrived", row, before=before, after=after), by=by)
