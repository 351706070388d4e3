"""Doing one job: claim it, keep it alive, run its handler, write down how it ended."""

import logging
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from threading import Event, Thread
from types import TracebackType
from typing import Self

from django.db import DatabaseError, connections

from fleet.jobs import actions, handlers, pace, queries
from fleet.jobs.models import Job
from fleet.web import clock

logger = logging.getLogger("fleet.jobs")
Listener = Callable[[int, int | None], None]


class Heartbeat:
    """Keeps a claimed job's lease alive, and writes its progress, from a thread with a database connection of its own.

    Of its own, so that a sign of life is seen at once although the handler is inside a transaction, or busy computing.
    """

    def __init__(self, job: Job, listener: Listener | None = None) -> None:
        self.job = job
        self.done = 0
        self.total: int | None = None
        self._listener = listener
        self._stop, self._lost = Event(), Event()
        self._thread = Thread(target=self._beat, name=f"heartbeat of job {job.pk}", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()

    def progress(self, done: int, total: int | None) -> None:
        """Note how far the run is; the next beat writes it. Raises ClaimLostError if another worker has the job."""
        if self._lost.is_set():
            raise handlers.ClaimLostError(f"{self.job} has passed to another worker; this run stops.")
        self.done, self.total = done, total
        if self._listener:
            self._listener(done, total)

    def _beat(self) -> None:
        try:
            while not self._stop.wait(pace.HEARTBEAT.total_seconds()) and not self._lost.is_set():
                # A database that is busy or away for a moment costs one beat; the lease outlives many.
                with suppress(DatabaseError):
                    held = actions.hold(self.job, done=self.done, total=self.total)
                    # A row that this connection can't see stands in a transaction still open: nobody else has it.
                    if not held and queries.jobs().filter(pk=self.job.pk).exists():
                        self._lost.set()
        finally:
            connections.close_all()


def run_job(job_id: int, *, early: bool = False, listener: Listener | None = None) -> Job | None:
    """Do the job if it is free, and return its row as it then stands; None if it was not ours to do, or was lost.

    `early` takes it though it rests after a failure. `listener` hears each progress of the handler. An error of the
    handler ends in the row, not here; only what stops the process (Ctrl-C, shutdown) goes on, after the job is let go.
    """
    job = actions.claim(job_id, early=early)
    if job is None:
        return None
    logger.info("%s: begun, attempt %s", job.key, job.attempts)
    try:
        kept = _attempt(job, listener)
    except Exception as error:  # noqa: BLE001 - whatever went wrong is written down where people look for it
        kept = actions.fail(job, error)
    except BaseException:
        actions.give_back(job)
        raise
    job.refresh_from_db()
    if not kept:
        logger.warning("%s: lost to another worker; what this run found is dropped", job.key)
        return None
    _log_end(job)
    return job


def _attempt(job: Job, listener: Listener | None) -> bool:
    handle = handlers.kind(job.kind).handle
    with Heartbeat(job, listener) as heartbeat:
        run = handlers.Run(job.pk, job.kind, job.payload, _day(job), job.attempts, heartbeat.progress)
        counts = handle(run)
    return actions.finish(job, counts, done=heartbeat.done, total=heartbeat.total)


def _day(job: Job) -> date:
    day = job.payload.get("day")
    return date.fromisoformat(day) if day else clock.today()


def _log_end(job: Job) -> None:
    if job.state == Job.State.DONE:
        logger.info("%s: done, %s", job.key, job.counts)
    else:
        words = job.error.partition("\n")[0]
        logger.error("%s: %s (%s)", job.key, words, job.get_state_display().lower())
