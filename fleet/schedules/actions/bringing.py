"""A plan brought to its drivers: dues opened, moved or no longer counted, in short batches.

Up to AT_ONCE drivers while the page waits. Above that a job does it, each batch a transaction of its own with a pause
after it, so that a change to a type of thousands keeps no other page waiting for the database.
"""

import secrets
import time
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record_many
from fleet.audit.actors import Actor, Source
from fleet.audit.changes import change
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.jobs.actions import enqueue
from fleet.registry.models import Device, DeviceQuerySet
from fleet.schedules.actions.dues import open_wanted, suspend_rows
from fleet.schedules.actions.nightly import PAUSE_SECONDS, Progress, unwatched
from fleet.schedules.actions.reckon import lock_devices, place, reckoned
from fleet.schedules.actions.stored import store_many
from fleet.schedules.actions.visits import held
from fleet.schedules.models import Due, Plan
from fleet.schedules.queries import BRING_JOB
from fleet.web import clock

AT_ONCE: Final = 300
BATCH: Final = 200


def bring(plan: Plan, *, by: Actor) -> None:
    """Bring a plan as it stands to every accepted driver of its type, now or by a job that is raised with the change.

    The caller has checked the duty and holds the transaction.
    """
    if _in_use(plan).count() > AT_ONCE:
        payload = {"plan": plan.pk, "by": by.name, "person": by.person_id}
        enqueue(BRING_JOB, key=f"{BRING_JOB}:{plan.pk}:{secrets.token_hex(6)}", payload=payload)
    else:
        _bring_to(plan, list(_in_use(plan)), by)


def bring_by_job(plan_id: int, *, name: str, person_id: int | None, progress: Progress = unwatched) -> dict[str, int]:
    """Bring a plan to its drivers for the person who changed it; begun again it finds out what is still to do."""
    by = Actor(name, Source.JOB, frozenset(May), person_id)
    last, seen = 0, 0
    while (batch := _next_batch(plan_id, last, by)) is not None:
        last, seen = batch[0], seen + batch[1]
        progress(seen)
        time.sleep(PAUSE_SECONDS)
    return {"drivers": seen}


@transaction.atomic
def _next_batch(plan_id: int, last: int, by: Actor) -> tuple[int, int] | None:
    """The last driver of the batch and how many it had; the plan is read anew, since it may have changed again."""
    plan = Plan.objects.get(pk=plan_id)
    devices = list(_in_use(plan).filter(pk__gt=last)[:BATCH])
    if not devices:
        return None
    _bring_to(plan, devices, by)
    return devices[-1].pk, len(devices)


def _in_use(plan: Plan) -> DeviceQuerySet:
    accepted = Device.objects.filter(device_type=plan.device_type_id, accepted_on__isnull=False)
    return accepted.exclude(condition=Condition.RETIRED.value).order_by("pk")


def _bring_to(plan: Plan, devices: list[Device], by: Actor) -> None:
    ids = [device.pk for device in devices]
    lock_devices(ids)
    dues = list(
        Due.objects.select_for_update(of=("self",)).filter(plan=plan, device_id__in=ids).select_related("device")
    )
    for due in dues:
        due.plan = plan
    if plan.active:
        record_many([happening for due in dues for happening in _moved(due)], by=by)
        open_wanted([(device, plan) for device in devices], by=by)
    else:
        suspend_rows([due for due in dues if not due.suspended], why="the plan is no longer active", by=by)
    store_many(ids)


@transaction.atomic
def resume(device: Device, *, by: Actor) -> list[Due]:
    """Count the dues of a driver again whose retirement was taken back and that has passed acceptance anew."""
    by.must(May.WORK_ON_BENCH)
    lock_devices([device.pk])
    rows = Due.objects.select_for_update(of=("self",)).filter(device=device, suspended=True, plan__active=True)
    dues = list(rows.select_related("device", "plan"))
    record_many([happening for due in dues for happening in _moved(due)], by=by)
    store_many([device.pk])
    return dues


def _moved(due: Due) -> list[Happening]:
    first = change(due, suspended=False)
    second = ({}, {}) if held(due) else place(due, reckoned(due), clock.today())
    before, after = {**first[0], **second[0]}, {**first[1], **second[1]}
    return (
        [Happening("due moved by its plan", due, device_id=due.device_id, before=before, after=after)] if after else []
    )
