"""The only writers of alerts: recorded and joined, answered by an order, cleared with a reason, aged by the night."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction

from fleet.alerts.kinds import KINDS
from fleet.alerts.models import Alert, AlertKind
from fleet.alerts.queries import days_open, open_alerts
from fleet.audit.actions import Happening
from fleet.audit.actions import record as write_down
from fleet.audit.actions import record_many as write_down_many
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device
from fleet.schedules.actions import make_due_now
from fleet.web import clock

BATCH: Final = 500
PAUSE_SECONDS: Final = 0.02


@transaction.atomic
def ensure_kinds(by: Actor) -> list[AlertKind]:
    """Add the kinds of the list that are missing. Words changed since are left as the hospital has them."""
    by.must(May.EDIT_REGISTRY)
    known = set(AlertKind.objects.values_list("code", flat=True))
    fresh = [
        AlertKind(
            code=kind.code, words=kind.words, asks_for_service=kind.service, about_battery=kind.battery, rank=rank
        )
        for rank, kind in enumerate(KINDS, start=1)
        if kind.code not in known
    ]
    for kind in fresh:
        kind.save()
    write_down_many((Happening("added alert kind", kind, after={"words": kind.words}) for kind in fresh), by=by)
    return fresh


@transaction.atomic
def record(  # noqa: PLR0913 - one sight has a time, words, a number, a door and a witness
    device: Device,
    kind: AlertKind,
    *,
    at: datetime,
    source: Alert.Source,
    seen_by: str,
    by: Actor,
    screen_text: str = "",
    times: int = 1,
) -> Alert:
    """Record what a driver raised. It joins the open alert of its kind; else a new one opens.

    A new alert of a kind that asks for maintenance makes the driver's next service due now, unless it was served since.
    """
    by.must(May.REPORT_FAULT)
    row = locked(device)
    _check(row, at, times, seen_by)
    alert = Alert.objects.select_for_update(of=("self",)).filter(device=row, kind=kind, closed_at=None).first()
    if alert is not None:
        return _joined(alert, at, times, screen_text, by)
    alert = Alert.objects.create(
        device=row,
        kind=kind,
        screen_text=screen_text.strip(),
        first_at=at,
        last_at=at,
        times=times,
        source=source,
        seen_by=seen_by.strip()[:120],
    )
    after = {"kind": kind.words, "times": times, "screen": alert.screen_text, "seen by": alert.seen_by}
    write_down(Happening("alert recorded", alert, device_id=row.pk, after=after, done_at=at), by=by)
    if kind.asks_for_service:
        make_due_now(row, why=f"The driver raised “{kind.words}”.", by=by, asked_at=at)
    return alert


@dataclass(frozen=True, slots=True, kw_only=True)
class NewAlert:
    """An alert from a file: seen `times` times from `first_at` until `last_at`."""

    device: Device
    kind: AlertKind
    first_at: datetime
    last_at: datetime
    seen_by: str
    times: int = 1
    screen_text: str = ""


@transaction.atomic
def record_many(news: Sequence[NewAlert], *, by: Actor) -> int:
    """Record alerts of a file together, all or none. Each joins the open alert of its kind, as in `record`."""
    if not by.duties & {May.REPORT_FAULT, May.IMPORT_RECORDS}:
        by.must(May.REPORT_FAULT)
    for start in range(0, len(news), BATCH):
        _record_batch(news[start : start + BATCH], by)
    return len(news)


def _record_batch(news: Sequence[NewAlert], by: Actor) -> None:
    devices = Device.objects.select_for_update().in_bulk({new.device.pk for new in news})
    for new in news:
        _check(devices[new.device.pk], new.last_at, new.times, new.seen_by)
    live = Alert.objects.select_for_update(of=("self",)).filter(device__in=devices, closed_at=None)
    alerts = {(alert.device_id, alert.kind_id): alert for alert in live.select_related("device", "kind")}
    known = set(alerts)
    seen = [_seen(alerts, new) for new in news]
    fresh = [alert for key, alert in alerts.items() if key not in known]
    Alert.objects.bulk_create(fresh)
    Alert.objects.bulk_update([alerts[key] for key in known], ["first_at", "last_at", "times", "screen_text"])
    write_down_many(seen, by=by)
    for alert in fresh:
        if alert.kind.asks_for_service:
            make_due_now(alert.device, why=f"The driver raised “{alert.kind.words}”.", by=by, asked_at=alert.last_at)


def _seen(alerts: dict[tuple[int, int], Alert], new: NewAlert) -> Happening:
    """Put one row of a file among the open alerts, and say what happened."""
    key = (new.device.pk, new.kind.pk)
    alert = alerts.get(key)
    if alert is None:
        alert = alerts[key] = Alert(
            device=new.device,
            kind=new.kind,
            screen_text=new.screen_text,
            first_at=new.first_at,
            last_at=new.last_at,
            times=new.times,
            source=Alert.Source.FILE,
            seen_by=new.seen_by,
        )
        after = {"kind": new.kind.words, "times": new.times, "screen": new.screen_text, "seen by": new.seen_by}
        return Happening("alert recorded", alert, device_id=key[0], after=after, done_at=new.last_at)
    before = {"times": alert.times, "first_at": alert.first_at, "last_at": alert.last_at}
    alert.first_at, alert.last_at = min(alert.first_at, new.first_at), max(alert.last_at, new.last_at)
    alert.times += new.times
    alert.screen_text = new.screen_text or alert.screen_text
    after = {"times": alert.times, "first_at": alert.first_at, "last_at": alert.last_at}
    return Happening("alert seen again", alert, device_id=key[0], before=before, after=after, done_at=new.last_at)


def _check(device: Device, at: datetime, times: int, seen_by: str) -> None:
    if at > clock.now():
        raise BadValueError("This time is still to come; give when the alert was seen.", field="at")
    if times < 1:
        raise BadValueError(f"{times} times can't be recorded; give 1 or more.", field="times")
    if not seen_by.strip():
        raise BadValueError("Say who saw it, or where it was read.", field="seen_by")
    if device.condition == Condition.RETIRED.value:
        raise BadValueError(f"{device} is retired; check the number.", field="device")


def _joined(alert: Alert, at: datetime, times: int, screen_text: str, by: Actor) -> Alert:
    before, after = change(
        alert,
        first_at=min(alert.first_at, at),
        last_at=max(alert.last_at, at),
        times=alert.times + times,
        screen_text=screen_text.strip() or alert.screen_text,
    )
    happening = Happening("alert seen again", alert, device_id=alert.device_id, before=before, after=after, done_at=at)
    write_down(happening, by=by)
    return alert


@transaction.atomic
def clear(alert: Alert, *, why: str, by: Actor) -> Alert:
    """Close an alert without an order, with a reason. Raises ConflictError when it is closed already."""
    by.must(May.CLEAR_ALERT)
    if not why.strip():
        raise BadValueError("Give the reason for clearing this alert.", field="why")
    locked(alert.device)
    row = Alert.objects.select_for_update(of=("self",)).select_related("kind", "device").get(pk=alert.pk)
    if row.closed_at is not None:
        words = f"by order {row.answered_by_order}" if row.answered_by_order else f"by {row.closed_by}"
        raise ConflictError(f"This alert was closed {words} already.")
    _close(row, "alert cleared", by, closed_why=why.strip())
    return row


@transaction.atomic
def answer(device: Device, *, order_number: str, by: Actor) -> int:
    """Close every open alert of a driver because an order dealt with it; how many is returned."""
    by.must(May.WORK_ON_BENCH)
    locked(device)
    rows = list(open_alerts(device).select_for_update(of=("self",)))
    for row in rows:
        _close(row, "alert answered", by, answered_by_order=order_number)
    return len(rows)


def _close(alert: Alert, verb: str, by: Actor, *, closed_why: str = "", answered_by_order: str = "") -> None:
    before, after = change(
        alert,
        closed_at=clock.now(),
        closed_by=by.name[:120],
        closed_why=closed_why,
        answered_by_order=answered_by_order,
    )
    happening = Happening(verb, alert, device_id=alert.device_id, before=before, after=after, why=closed_why)
    write_down(happening, by=by)


def age(now: datetime) -> dict[str, int]:
    """Store how many days each open alert has been open. Derived, so the trail is not told.

    Run again for the same moment it changes nothing.
    """
    aged, last = 0, 0
    while batch := list(Alert.objects.filter(closed_at=None, pk__gt=last).order_by("pk")[:BATCH]):
        stale = [alert for alert in batch if alert.aged_days != days_open(alert, now)]
        for alert in stale:
            alert.aged_days = days_open(alert, now)
        Alert.objects.bulk_update(stale, ["aged_days"])
        aged, last = aged + len(stale), batch[-1].pk
        time.sleep(PAUSE_SECONDS)
    return {"open": Alert.objects.filter(closed_at=None).count(), "aged": aged}
