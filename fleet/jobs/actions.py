"""The only writers of the job table. Each change of state is one conditional UPDATE: of two workers, one wins."""

import logging
import secrets
import socket
import traceback
from datetime import date, datetime
from os import getpid
from typing import Any

import kombu.exceptions
from django.db import models, transaction
from django.db.models import F
from django.utils import timezone

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.jobs import pace, queries, timetable
from fleet.jobs.app import app
from fleet.jobs.models import Job
from fleet.web import clock

logger = logging.getLogger("fleet.jobs")

#: What is kept of a traceback, from its end: where it went wrong, not how it got there.
TRACEBACK_CHARACTERS = 4000


def enqueue(
    kind: str,
    *,
    key: str,
    payload: dict[str, Any] | None = None,
    not_before: datetime | None = None,
    send: bool = True,
) -> Job:
    """Raise a job in the caller's transaction: it exists if and only if that transaction commits.

    Of any number of calls with one key the first makes the row and the others get it, whatever has become of it.
    The broker is told after the commit; if it isn't listening, or with `send=False`, the sweep tells it later.
    """
    now = clock.now()
    due = not_before or now
    facts = {
        "kind": kind,
        "payload": payload or {},
        "created_at": now,
        "not_before": due,
        "sent_at": now if due <= now else None,
    }
    job, is_new = Job.objects.get_or_create(key=key, defaults=facts)
    if is_new and send and due <= now:
        transaction.on_commit(lambda: _send(job.pk))
    return job


def _send(job_id: int) -> None:
    """Wake a worker. A broker that is down loses nothing: the row waits for the sweep."""
    try:
        app.send_task("fleet.jobs.run", args=[job_id], retry=False)
    except (kombu.exceptions.OperationalError, OSError) as error:
        logger.warning("job %s waits for the next sweep: the broker does not answer (%s)", job_id, error)


def claim(job_id: int, *, early: bool = False) -> Job | None:
    """Take a free job for this process; None if another has it, or it has ended. `early`: though it should still rest.

    The name in `claimed_by` is new for each claim, so a process that lost its claim never passes for its successor.
    """
    now = clock.now()
    name = f"{socket.gethostname()[:60]}:{getpid()}:{secrets.token_hex(6)}"
    open_to_us = queries.free(now) | models.Q(state=Job.State.QUEUED) if early else queries.free(now)
    won = Job.objects.filter(open_to_us, pk=job_id, attempts__lt=pace.ATTEMPTS).update(
        state=Job.State.RUNNING,
        claimed_by=name,
        lease_until=now + pace.LEASE,
        attempts=F("attempts") + 1,
        started_at=now,
        finished_at=None,
        progress=0,
        total=None,
        counts={},
    )
    return Job.objects.get(pk=job_id) if won else None


def _held(job: Job) -> models.QuerySet[Job]:
    return Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, claimed_by=job.claimed_by)


def hold(job: Job, *, done: int, total: int | None) -> bool:
    """Extend the lease and write the progress; False if the claim is lost."""
    return bool(_held(job).update(lease_until=clock.now() + pace.LEASE, progress=done, total=total))


def finish(job: Job, counts: dict[str, int], *, done: int, total: int | None) -> bool:
    """Mark a job as done; False, and no change, if the claim is lost."""
    return bool(
        _held(job).update(
            state=Job.State.DONE,
            finished_at=clock.now(),
            lease_until=None,
            progress=done,
            total=total,
            counts=counts,
            error="",
        )
    )


def fail(job: Job, error: Exception) -> bool:
    """Put a job that went wrong back to wait, or fail it for good; False, and no change, if the claim is lost.

    A refusal on purpose (BenchwardError) would be given again and is final, except a conflict with somebody's change.
    """
    refused = isinstance(error, BenchwardError) and not isinstance(error, ConflictError)
    text = _words(error) if refused else _told(error)
    now = clock.now()
    if refused or job.attempts >= pace.ATTEMPTS:
        values: dict[str, Any] = {"state": Job.State.FAILED, "finished_at": now}
    else:
        values = {"state": Job.State.QUEUED, "not_before": now + pace.wait_after(job.attempts), "sent_at": None}
    return bool(_held(job).update(error=text, claimed_by="", lease_until=None, **values))


def _told(error: Exception) -> str:
    """The error in words, an empty line, and the end of its traceback."""
    return f"{_words(error)}\n\n{''.join(traceback.format_exception(error))[-TRACEBACK_CHARACTERS:]}"


def _words(error: Exception) -> str:
    name = type(error).__name__
    return (str(error) or name) if isinstance(error, BenchwardError) else f"{name}: {error}"


def give_back(job: Job) -> bool:
    """Let a job go because this process is being stopped: it waits again, at once, and the attempt does not count."""
    return bool(
        _held(job).update(
            state=Job.State.QUEUED, claimed_by="", lease_until=None, sent_at=None, attempts=F("attempts") - 1
        )
    )


def sweep() -> dict[str, int]:
    """Give silent jobs back and hand unheard ones to the broker again. Any number may sweep at once."""
    now = clock.now()
    abandoned = list(queries.silent(now)[: pace.SWEEP_ROWS])
    freed = sum(_free(job) for job in abandoned)
    sent = 0
    for job_id in list(queries.unheard(now).values_list("pk", flat=True)[: pace.SWEEP_ROWS]):
        if queries.unheard(now).filter(pk=job_id).update(sent_at=now):
            _send(job_id)
            sent += 1
    return {"freed": freed, "sent": sent}


def _free(job: Job) -> bool:
    """Take a silent job from its worker: to wait again or, after too many attempts, to fail for good."""
    now = clock.now()
    words = f"The worker {job.claimed_by} went silent in mid-job, after {job.started_at:%Y-%m-%d %H:%M} UTC."
    values: dict[str, Any] = {"state": Job.State.QUEUED, "not_before": now, "sent_at": None}
    if job.attempts >= pace.ATTEMPTS:
        words += f" That was attempt {job.attempts}, the last. Does it run out of memory?"
        values = {"state": Job.State.FAILED, "finished_at": now}
    logger.warning("%s: %s", job.key, words)
    held = _held(job).filter(lease_until=job.lease_until)
    return bool(held.update(error=words, claimed_by="", lease_until=None, **values))


def tick() -> list[Job]:
    """Raise the nightly jobs that have come due today and are not there yet."""
    local = timezone.localtime(clock.now())
    states = queries.nightly_states(local.date())
    ended = {kind for kind, state in states.items() if state in queries.ENDED}
    due = [entry for entry in timetable.due(local, ended) if entry.kind not in states]
    return [raise_nightly(entry, local.date()) for entry in due]


def tick_hourly() -> list[Job]:
    """Raise this hour's jobs unless they are there; an hour in which nobody looked is left out."""
    hour = timezone.localtime(clock.now()).isoformat(timespec="hours")
    there = set(
        Job.objects.filter(key__in=[f"{kind}:{hour}" for kind in timetable.HOURLY]).values_list("kind", flat=True)
    )
    return [enqueue(kind, key=f"{kind}:{hour}") for kind in timetable.HOURLY if kind not in there]


def raise_nightly(entry: timetable.Nightly, day: date, *, send: bool = True) -> Job:
    """Raise the day's job of a nightly kind, or give the one that is there."""
    return enqueue(entry.kind, key=entry.key(day), payload={"day": day.isoformat()}, send=send)


@transaction.atomic
def put_back(job: Job, *, why: str = "", even_done: bool = False, send: bool = True, by: Actor) -> Job:
    """Let a failed job (with `even_done`: or a finished one) wait again with all its attempts; the trail says by whom.

    It needs the duty to import records: like an import, a job changes many records at once. Raises ConflictError for a
    job in another state.
    """
    by.must(May.IMPORT_RECORDS)
    row = Job.objects.select_for_update().get(pk=job.pk)
    allowed = queries.ENDED if even_done else (Job.State.FAILED,)
    if row.state not in allowed:
        raise ConflictError(f"{row} is {row.get_state_display().lower()}; only a failed job can be put back to wait.")
    now = clock.now()
    before, after = change(
        row, state=Job.State.QUEUED, attempts=0, not_before=now, sent_at=now, finished_at=None, error=""
    )
    told = ("state", "attempts", "error")
    record(
        Happening(
            "put job back to wait",
            row,
            before={name: before[name] for name in told if name in before},
            after={name: after[name] for name in told if name in after},
            why=why,
        ),
        by=by,
    )
    if send:
        transaction.on_commit(lambda: _send(row.pk))
    return row
