"""Of any number of workers one does a job; of any number of calls one raises it."""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from datetime import timedelta
from threading import Barrier
from typing import TypeVar

import pytest
from django.db import connections, transaction
from pytest_django import DjangoCaptureOnCommitCallbacks

from fleet.jobs import actions, handlers, pace, work
from fleet.jobs.actions import claim, enqueue
from fleet.jobs.models import Job
from fleet.web import clock

T = TypeVar("T")
MANY = 8


def all_at_once(act: Callable[[], T]) -> list[T]:
    """Do the same in many threads that start together, each with a database connection of its own."""
    together = Barrier(MANY)

    def one(_number: int) -> T:
        try:
            together.wait()
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(MANY) as threads:
        return list(threads.map(one, range(MANY)))


@pytest.mark.django_db(transaction=True)
def test_of_many_claims_at_once_one_wins() -> None:
    """A conditional update gives the row to one worker, and the others hear that it is not theirs."""
    job = enqueue("test_quick", key="wanted", send=False)
    won = [claimed for claimed in all_at_once(lambda: claim(job.pk)) if claimed]
    job.refresh_from_db()
    assert [claimed.claimed_by for claimed in won] == [job.claimed_by]
    assert job.attempts == 1


@pytest.mark.django_db(transaction=True)
def test_of_many_calls_with_one_key_one_makes_the_row() -> None:
    """However many timetables raise a job at once, there is one row, and everybody gets it."""
    made = all_at_once(lambda: enqueue("test_quick", key="nightly:2027-03-14", send=False).pk)
    assert len(set(made)) == 1
    assert Job.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_many_sweeps_at_once_one_frees_a_silent_job() -> None:
    """Sweepers that meet free a job once, so no attempt is taken from its next worker."""
    with clock.at(clock.now() - 2 * pace.LEASE):
        job = enqueue("test_quick", key="silent", send=False)
        claim(job.pk)
    assert sum(counts["freed"] for counts in all_at_once(actions.sweep)) == 1
    job.refresh_from_db()
    assert (job.state, job.claimed_by) == (Job.State.QUEUED, "")


def test_a_second_call_with_the_key_gets_the_row_as_it_is(db: None) -> None:
    """A job that has already been done is not raised again."""
    first = enqueue("test_quick", key="once", payload={"spoons": 7})
    work.run_job(first.pk)
    again = enqueue("test_quick", key="once", payload={"spoons": 8})
    assert (again.pk, again.state, again.payload) == (first.pk, Job.State.DONE, {"spoons": 7})


def test_a_rollback_leaves_neither_row_nor_message(
    db: None, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    """A job belongs to the change that asks for it: without the one there isn't the other."""

    def change_that_fails() -> None:
        with transaction.atomic():
            enqueue("test_quick", key="with the change")
            raise ArithmeticError("the change failed")

    with django_capture_on_commit_callbacks() as messages, pytest.raises(ArithmeticError):
        change_that_fails()
    assert not Job.objects.exists()
    assert messages == []


def test_the_message_waits_for_the_commit_and_is_sent_once(
    db: None, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    """No worker hears of a row before it can see it; one for later is left to the sweep."""
    with django_capture_on_commit_callbacks() as messages:
        enqueue("test_quick", key="now")
        enqueue("test_quick", key="now")
        later = enqueue("test_quick", key="later", not_before=clock.now() + timedelta(hours=1))
    assert len(messages) == 1
    assert later.sent_at is None


def test_a_claim_holds_while_its_lease_does(db: None) -> None:
    """A job in hand is not taken until its worker has been silent for a whole lease."""
    job = enqueue("test_quick", key="held", send=False)
    began = clock.now()
    with clock.at(began):
        assert claim(job.pk)
    with clock.at(began + pace.LEASE):
        assert claim(job.pk) is None
    with clock.at(began + pace.LEASE + timedelta(seconds=1)):
        second = claim(job.pk)
    assert second is not None
    assert second.attempts == 2


def test_a_worker_that_lost_its_claim_changes_nothing(db: None) -> None:
    """Whoever comes back from a long silence neither ends nor fails nor prolongs what another now does."""
    with clock.at(clock.now() - 2 * pace.LEASE):
        job = enqueue("test_quick", key="passed on", send=False)
        first = claim(job.pk)
    second = claim(job.pk)
    assert first is not None
    assert second is not None
    assert not actions.hold(first, done=1, total=2)
    assert not actions.finish(first, {"pieces": 9}, done=2, total=2)
    assert not actions.fail(first, ValueError("too late"))
    assert not actions.give_back(first)
    job.refresh_from_db()
    assert (job.state, job.claimed_by, job.lease_until) == (Job.State.RUNNING, second.claimed_by, second.lease_until)
    assert actions.finish(second, {"pieces": 1}, done=1, total=1)


def test_a_job_for_later_is_not_begun_early_unless_asked(db: None) -> None:
    """`not_before` is kept by every worker; a person at a terminal may overrule it."""
    job = enqueue("test_quick", key="later", not_before=clock.now() + timedelta(hours=1))
    assert claim(job.pk) is None
    assert claim(job.pk, early=True) is not None


def test_an_ended_job_is_never_begun_again(db: None) -> None:
    """A message that comes late or twice finds nothing to do."""
    job = enqueue("test_quick", key="ended", send=False)
    assert work.run_job(job.pk) is not None
    assert work.run_job(job.pk) is None
    assert work.run_job(job.pk, early=True) is None
    assert work.run_job(job.pk + 1) is None


@pytest.mark.django_db(transaction=True)
def test_the_heartbeat_prolongs_the_lease_and_writes_the_progress(monkeypatch: pytest.MonkeyPatch) -> None:
    """While a handler works, others see that it lives and how far it is."""
    monkeypatch.setattr(pace, "HEARTBEAT", timedelta(milliseconds=20))
    job = enqueue("test_patient", key="patient", send=False)
    ended = work.run_job(job.pk)
    assert ended is not None
    assert (ended.state, ended.counts, ended.error) == (Job.State.DONE, {"seen": 3}, "")


@handlers.handler("test_patient")
def _patient(run: handlers.Run) -> dict[str, int]:
    """Work, inside a transaction if asked, until any reader can see the progress and a longer lease."""
    with transaction.atomic() if run.payload.get("atomic") else nullcontext():
        lease = Job.objects.get(pk=run.job_id).lease_until
        run.progress(3, 10)
        while not Job.objects.filter(pk=run.job_id, progress=3, total=10, lease_until__gt=lease).exists():
            time.sleep(0.01)
    return {"seen": 3}


@pytest.mark.django_db(transaction=True)
def test_a_run_whose_claim_has_passed_on_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    """The next progress of a handler that lost its claim stops it, and its end is not written."""
    monkeypatch.setattr(pace, "HEARTBEAT", timedelta(milliseconds=20))
    job = enqueue("test_robbed", key="robbed", send=False)
    assert work.run_job(job.pk) is None
    job.refresh_from_db()
    assert (job.state, job.claimed_by, job.error) == (Job.State.RUNNING, "another worker", "")


@handlers.handler("test_robbed")
def _robbed(run: handlers.Run) -> dict[str, int]:
    """Go on for ever, while another worker takes the job."""
    Job.objects.filter(pk=run.job_id).update(claimed_by="another worker")
    while True:
        run.progress(1)


def test_a_run_that_is_interrupted_gives_its_job_back(db: None) -> None:
    """Ctrl-C in mid-job lets the job wait again at once, without costing it an attempt."""
    job = enqueue("test_interrupted", key="interrupted", send=False)
    with pytest.raises(KeyboardInterrupt):
        work.run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.claimed_by, job.attempts) == (Job.State.QUEUED, "", 0)


@handlers.handler("test_interrupted")
def _interrupted(run: handlers.Run) -> dict[str, int]:
    """Stand for a handler during which somebody presses Ctrl-C."""
    raise KeyboardInterrupt


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_the_heartbeat_is_seen_while_the_handler_is_inside_a_transaction(monkeypatch: pytest.MonkeyPatch) -> None:
    """A long transaction of the handler silences nobody: the heartbeat has a connection of its own."""
    monkeypatch.setattr(pace, "HEARTBEAT", timedelta(milliseconds=20))
    job = enqueue("test_patient", key="in a transaction", payload={"atomic": True}, send=False)
    ended = work.run_job(job.pk)
    assert ended is not None
    assert (ended.state, ended.error) == (Job.State.DONE, "")
