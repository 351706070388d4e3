"""Making a driver a training unit, and ending that: on the bench only, so that none slips into use unchecked."""

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError
from fleet.core.lifecycle import Facts, Move
from fleet.registry.actions.devices import locked, move
from fleet.registry.models import Device


@transaction.atomic
def make_training(device: Device, *, why: str, by: Actor) -> Device:
    """Make a driver on the bench a training unit. Raises MoveRefusedError for one that is anywhere else."""
    row = locked(device)
    if row.pool == Device.Pool.TRAINING:
        raise BadValueError(f"{row} is a training unit already.", field="pool")
    return _moved(row, Move.TRAIN, Device.Pool.TRAINING, why, by)


@transaction.atomic
def end_training(device: Device, pool: Device.Pool, *, why: str, by: Actor) -> Device:
    """End a driver's use for training: its acceptance counts no more, and only a new one puts it into clinical use."""
    row = locked(device)
    if row.pool != Device.Pool.TRAINING:
        raise BadValueError(f"{row} is no training unit.", field="pool")
    if pool == Device.Pool.TRAINING:
        raise BadValueError("Choose the pool it goes to.", field="pool")
    return _moved(row, Move.UNTRAIN, pool, why, by)


def _moved(row: Device, step: Move, pool: Device.Pool, why: str, by: Actor) -> Device:
    counted = Facts(
        open_tags=0,
        quarantine_open=row.quarantined,
        failed_required_steps=0,
        missing_required_steps=0,
        checked=False,
        accepted=row.accepted_on is not None,
        open_orders=0,
        has_reason=bool(why.strip()),
    )
    moved = move(row, step, counted, by=by, why=why.strip())
    before, after = change(moved, pool=pool.value)
    record(Happening("changed pool", moved, device_id=moved.pk, before=before, after=after, why=why.strip()), by=by)
    return moved
