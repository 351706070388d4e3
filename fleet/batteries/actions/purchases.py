"""The writers of what packs are on order: ordered, called off, come."""

from datetime import date

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.batteries.models import PackPurchase
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType, Party
from fleet.web import clock


@transaction.atomic
def order_packs(  # noqa: PLR0913 - what, how many, expected when, with whom, by which number
    device_type: DeviceType,
    quantity: int,
    expected_on: date,
    *,
    by: Actor,
    supplier: Party | None = None,
    reference: str = "",
) -> PackPurchase:
    """Note that packs were ordered. Several orders can be on their way. Raises BadValueError naming the field."""
    by.must(May.KEEP_STORE)
    if quantity < 1:
        raise BadValueError("Order 1 or more.", field="quantity")
    if expected_on < clock.today():
        raise BadValueError("This day is past; give the day on which the packs are expected.", field="expected_on")
    row = PackPurchase.objects.create(
        device_type=device_type,
        quantity=quantity,
        ordered_on=clock.today(),
        expected_on=expected_on,
        supplier=supplier,
        reference=reference.strip(),
        by_name=by.name[:120],
    )
    told = {
        "quantity": quantity,
        "expected_on": expected_on,
        "supplier": str(supplier or ""),
        "reference": row.reference,
    }
    record(Happening("ordered packs", row, after=told), by=by)
    return row


@transaction.atomic
def call_off_packs(purchase: PackPurchase, why: str, *, by: Actor) -> PackPurchase:
    """Let an order be expected no more, because it was cancelled or noted by mistake; what has come stays."""
    by.must(May.KEEP_STORE)
    row = PackPurchase.objects.select_for_update(of=("self",)).get(pk=purchase.pk)
    if row.closed_on is not None:
        raise MoveRefusedError("This order is closed already.")
    if not why.strip():
        raise BadValueError("Say why it comes no more.", field="why")
    before, after = change(row, closed_on=clock.today(), closed_why=why.strip())
    record(Happening("called off packs", row, before=before, after=after, why=why.strip()), by=by)
    return row


def packs_arrive(device_type: DeviceType, quantity: int, *, by: Actor) -> None:
    """Count so many as come against what is on order for the type, the first expected first."""
    open_ones = PackPurchase.objects.select_for_update(of=("self",)).filter(
        device_type=device_type, closed_on__isnull=True
    )
    for row in open_ones.order_by("expected_on", "pk"):
        if not (here := min(quantity, row.outstanding)):
            return
        quantity -= here
        arrived = row.arrived + here
        before, after = change(row, arrived=arrived, closed_on=clock.today() if arrived == row.quantity else None)
        record(Happening("packs arrived", row, before=before, after=after), by=by)
