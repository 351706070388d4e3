"""Orders to recheck what was measured with an instrument that was found out of its limits."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.bench.actions.holding import hold, put
from fleet.bench.actions.narrowing import narrow_again
from fleet.bench.actions.orders import raise_order
from fleet.bench.models import RECHECK, Order, OrderKind, Recheck
from fleet.bench.queries import devices_in_doubt, mention, open_planned, rechecks
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.registry.models import Device
from fleet.stores.models import Calibration


@dataclass(frozen=True, slots=True)
class Raised:
    """What came of it: new orders, open planned orders that now say so too, drivers left alone since they are retired.

    `there` holds orders that said so before.
    """

    new: list[Order] = field(default_factory=list)
    noted: list[Order] = field(default_factory=list)
    there: list[Order] = field(default_factory=list)
    retired: list[Device] = field(default_factory=list)


@transaction.atomic
def raise_rechecks(calibration: Calibration, devices: Iterable[Device], *, by: Actor) -> Raised:
    """Raise a planned order for each driver, with the instrument and the calibration as its reason.

    A driver whose planned order is open gets the reason on that one; one that has a recheck keeps it. Which steps an
    order asks for is settled when it is begun (`narrowing`), by the procedure then in force. Raises
    MoveRefusedError for a calibration that puts nothing in doubt, BadValueError for a driver that it does not concern.
    """
    by.must(May.WORK_ON_BENCH)
    row = Calibration.objects.select_for_update(of=("self",)).select_related("instrument").get(pk=calibration.pk)
    if row.voided_at is not None or row.as_found != Calibration.AsFound.OUT:
        raise MoveRefusedError("This calibration puts no reading in doubt.")
    chosen = {device.pk: device for device in devices}
    if not chosen:
        raise BadValueError("Tick the drivers to be rechecked.", field="device")
    if set(chosen) - devices_in_doubt(row):
        raise BadValueError("One of these drivers was not measured with the instrument in that time.", field="device")
    known, told = rechecks(row, chosen), Raised()
    for pk in sorted(chosen):
        _recheck(row, chosen[pk], known.get(pk), told, by)
    after = {"orders": [str(order) for order in told.new], "noted on": [str(order) for order in told.noted]}
    if told.new or told.noted:
        record(Happening("raised rechecks", row, after=after), by=by)
    return told


def _recheck(calibration: Calibration, device: Device, known: Order | None, told: Raised, by: Actor) -> None:
    if known is not None:
        told.there.append(known)
    elif device.condition == Condition.RETIRED:
        told.retired.append(device)
    elif (order := open_planned(device)) is not None:
        row = hold(order, by)
        put(row, "noted recheck", by=by, reported="\n".join(filter(None, [row.reported, _reason(calibration)])))
        Recheck.objects.create(order=row, calibration=calibration, raised=False)
        told.noted.append(narrow_again(row, by))
    else:
        new = raise_order(device, OrderKind.PLANNED, by=by, reported=_reason(calibration))
        Recheck.objects.create(order=new, calibration=calibration, raised=True)
        told.new.append(new)


def _reason(calibration: Calibration) -> str:
    instrument = calibration.instrument
    return (
        f"{RECHECK}{instrument} was found out of its limits on {calibration.done_on:%d %b %Y} "
        f"({calibration.found_words}; {mention(calibration)}). Measure again what was measured with it."
    )
