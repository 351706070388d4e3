"""A due from its opening to its rolling on."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from types import MappingProxyType
from typing import Final

from django.db import transaction
from django.utils import timezone

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.audit.changes import Changes, change
from fleet.core.due import Window, is_late
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device
from fleet.schedules.actions.reckon import late_since, lock_devices, locked_due, place, reckoned
from fleet.schedules.actions.stored import store, store_many
from fleet.schedules.models import Due, DueDone, Plan
from fleet.schedules.queries import total_hours, use_of
from fleet.web import clock
from fleet.web.phrases import day as spoken

#: Days a driver that itself asks for maintenance may wait before it counts as late. Our own rule, no source: the
#: maker's instructions and local policy may want it out of use at once.
ASKED_WINDOW_DAYS: Final = 7
BATCH = 500
#: Days on which work was last done, by kind of plan and device id.
LastDone = Mapping[Plan.Kind, Mapping[int, date | None]]


def open_dues(device: Device, *, by: Actor, served_on: date | None = None) -> list[Due]:
    """Open a due for each active plan of the driver's type, counted from its acceptance. Dues it has are left.

    `served_on`: the last service an earlier record knows of, for a driver taken over in use.
    """
    return open_dues_of_all([device], by=by, served_on={device.pk: served_on})


@transaction.atomic
def open_dues_of_all(
    devices: Sequence[Device],
    *,
    by: Actor,
    served_on: Mapping[int, date | None] | None = None,
    also_done: LastDone = MappingProxyType({}),
) -> list[Due]:
    """Open the dues of several drivers in few statements; `served_on` holds last services by device id.

    `also_done`: the same for other kinds of plan, where an earlier record knows of them. Raises BadValueError for a
    driver that isn't accepted yet.
    """
    if not by.duties & {May.EDIT_REGISTRY, May.IMPORT_RECORDS}:
        by.must(May.WORK_ON_BENCH)
    plans: dict[int, list[Plan]] = {}
    for plan in Plan.objects.filter(active=True, device_type__in={device.device_type_id for device in devices}):
        plans.setdefault(plan.device_type_id, []).append(plan)
    wanted = [(device, plan) for device in devices for plan in plans.get(device.device_type_id, [])]
    return open_wanted(wanted, by=by, last_done={**also_done, Plan.Kind.SERVICE: served_on or {}})


def open_wanted(
    wanted: Sequence[tuple[Device, Plan]], *, by: Actor, last_done: LastDone = MappingProxyType({})
) -> list[Due]:
    """Open a due for each pair that has none. The caller has checked the duty and holds the transaction."""
    opened: list[Due] = []
    for start in range(0, len(wanted), BATCH):
        opened += _open_batch(wanted[start : start + BATCH], last_done, by)
    return opened


def _open_batch(pairs: Sequence[tuple[Device, Plan]], last_done: LastDone, by: Actor) -> list[Due]:
    ids = {device.pk for device, _ in pairs}
    lock_devices(ids)
    had = set(Due.objects.filter(device_id__in=ids).values_list("device_id", "plan_id"))
    wanted = (pair for pair in pairs if (pair[0].pk, pair[1].pk) not in had)
    fresh = [_fresh(device, plan, last_done.get(Plan.Kind(plan.kind), {}).get(device.pk)) for device, plan in wanted]
    Due.objects.bulk_create(fresh)
    happenings = (
        Happening("due opened", due, device_id=due.device_id, after={"due_on": due.due_on, "closes_on": due.closes_on})
        for due in fresh
    )
    record_many(happenings, by=by)
    store_many({due.device_id for due in fresh})
    return fresh


def _fresh(device: Device, plan: Plan, last_done: date | None) -> Due:
    if device.accepted_on is None:
        raise BadValueError(f"{device} has not passed acceptance; its dues open then.", field="accepted_on")
    due = Due(
        device=device,
        plan=plan,
        anchor=device.accepted_on,
        last_done_on=last_done,
        last_done_hours=total_hours(device),
        last_done_cycles=use_of(device).cycles,
    )
    span = reckoned(due)
    due.due_on, due.opens_on, due.closes_on = span.due, span.opens, span.closes
    due.late_since = late_since(span.closes, clock.today())
    return due


@transaction.atomic
def roll(due: Due, *, done_on: date, order_number: str = "", by: Actor) -> Due:
    """Record that the work was done and move the due on.

    A fixed due done before its window opened stays where it is (see core.due.next_due). Raises BadValueError for a day
    in the future, a day before the last time it was done, or a due that no longer counts.
    """
    by.must(May.WORK_ON_BENCH)
    row = locked_due(due)
    _check_done_on(row, done_on)
    done = _done(row, done_on, order_number)
    before, after = _rolled_on(row, done_on)
    note = {**after, "late": done.late} | ({"order": order_number} if order_number else {})
    record(Happening("due done", row, device_id=row.device_id, before=before, after=note), by=by)
    store(row.device)
    return row


def _check_done_on(due: Due, done_on: date) -> None:
    if due.suspended:
        raise BadValueError(f"{due} no longer counts, so it can't be done.", field="due")
    if done_on > clock.today():
        raise BadValueError(f"{spoken(done_on)} is still to come; give the day the work was done.", field="done_on")
    if due.last_done_on and done_on < due.last_done_on:
        msg = f"{due} was done on {spoken(due.last_done_on)} already; give that day or a later one."
        raise BadValueError(msg, field="done_on")


def _done(due: Due, done_on: date, order_number: str) -> DueDone:
    return DueDone.objects.create(
        device_id=due.device_id,
        plan_id=due.plan_id,
        due_on=due.due_on,
        opens_on=due.opens_on,
        closes_on=due.closes_on,
        done_on=done_on,
        late=is_late(due.closes_on, done_on),
        deferred_from=due.deferred_from,
        order_number=order_number,
    )


def _rolled_on(due: Due, done_on: date) -> Changes:
    first = change(
        due,
        last_done_on=done_on,
        last_done_hours=total_hours(due.device),
        last_done_cycles=use_of(due.device).cycles,
        asked_by_device=False,
        before_use=False,
        deferred_from=None,
        deferred_why="",
        deferred_by=None,
        planned_for=None,
    )
    second = place(due, reckoned(due), clock.today())
    return {**first[0], **second[0]}, {**first[1], **second[1]}


@transaction.atomic
def roll_kind(device: Device, kind: Plan.Kind, *, done_on: date, order_number: str = "", by: Actor) -> list[Due]:
    """Roll every due of one kind that counts on a driver; an empty list when it has none."""
    dues = Due.objects.filter(device=device, plan__kind=kind, suspended=False).select_related("plan", "device")
    return [roll(due, done_on=done_on, order_number=order_number, by=by) for due in dues]


@transaction.atomic
def make_due_now(device: Device, *, why: str, by: Actor, asked_at: datetime | None = None) -> Due | None:
    """The driver asks for maintenance: its next service (else its earliest due) is due today.

    The window closes ASKED_WINDOW_DAYS from today, or when it would have closed if that is sooner. A deferral ends.
    None, and nothing changes, when the driver has no due or was served on the day of `asked_at` or later.
    """
    by.must(May.REPORT_FAULT)
    due = _asked_for(locked(device))
    if due is None or (asked_at and due.last_done_on and timezone.localdate(asked_at) <= due.last_done_on):
        return None
    before, after = place(
        due,
        _asked_window(due),
        clock.today(),
        asked_by_device=True,
        deferred_from=None,
        deferred_why="",
        deferred_by=None,
    )
    if after:
        record(Happening("made due now", due, device_id=device.pk, before=before, after=after, why=why), by=by)
        store(device)
    return due


def _asked_for(device: Device) -> Due | None:
    live = Due.objects.select_for_update(of=("self",)).filter(device=device, suspended=False).order_by("due_on", "id")
    dues = list(live.select_related("plan", "device"))
    services = [due for due in dues if due.plan.kind == Plan.Kind.SERVICE]
    return next(iter(services or dues), None)


def _asked_window(due: Due) -> Window:
    today = clock.today()
    day = min(due.due_on, today)
    return Window(min(due.opens_on, day), day, min(due.closes_on, today + timedelta(days=ASKED_WINDOW_DAYS)))


@transaction.atomic
def suspend(device: Device, *, by: Actor) -> list[Due]:
    """Stop counting the dues of a retired driver. Their history stays."""
    by.must(May.RETIRE_DEVICE)
    row = locked(device)
    dues = list(Due.objects.select_for_update().filter(device=row, suspended=False))
    suspend_rows(dues, why="retired", by=by)
    store(device)
    return dues


def suspend_rows(dues: Iterable[Due], *, why: str, by: Actor) -> None:
    """Stop counting these dues. The caller has checked the duty, holds the locks and stores the columns."""
    for due in dues:
        before, after = change(due, suspended=True, late_since=None)
        record(
            Happening("due no longer counted", due, device_id=due.device_id, before=before, after=after, why=why), by=by
        )
