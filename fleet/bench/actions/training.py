"""Ending a driver's use for training: its acceptance order is raised with it."""

from django.db import transaction

from fleet.audit.actors import Actor
from fleet.bench.actions.holding import hold_device
from fleet.bench.actions.orders import raise_order
from fleet.bench.models import Order, OrderKind
from fleet.bench.queries import open_orders
from fleet.registry.actions import end_training as end
from fleet.registry.models import Device


@transaction.atomic
def end_training(device: Device, pool: Device.Pool, *, why: str, by: Actor) -> Order:
    """Take a driver on the bench out of training; the acceptance order it needs now is returned."""
    row = end(hold_device(device), pool, why=why, by=by)
    held = open_orders(row).filter(kind=OrderKind.ACCEPTANCE).first()
    return held or raise_order(row, OrderKind.ACCEPTANCE, reported=f"Was a training unit. {why.strip()}", by=by)
