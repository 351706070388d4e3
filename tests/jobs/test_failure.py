"""What goes wrong is tried again, a bounded number of times, and told in words."""

import subprocess
import sys
from datetime import timedelta

import pytest
from django.conf import settings

from fleet.audit.actors import Actor, Source, command_actor
from fleet.audit.models import TrailEntry
from fleet.core.errors import ConflictError, NotAllowedError
from fleet.jobs import actions, handlers, pace, wording, work
from fleet.jobs.actions import claim, enqueue
from fleet.jobs.models import Job
from fleet.web import clock


def a_job(kind: str, **facts: object) -> Job:
    job = enqueue(kind, key=f"a {kind}", send=False)
    for name, value in facts.items():
        setattr(job, name, value)
    job.save()
    return job


def a_failed_job() -> Job:
    job = work.run_job(a_job("test_refused").pk)
    assert job is not None
    return job


def test_an_error_is_kept_in_words_and_tried_again_later(db: None) -> None:
    """The row says what went wrong and where in the code, and rests before the next attempt."""
    now = clock.now()
    with clock.at(now):
        job = work.run_job(a_job("test_failing").pk)
    assert job is not None
    words, detail = wording.error(job)
    assert words == "ZeroDivisionError: attempt 1 divided by nothing"
    assert detail.startswith("Traceback")
    assert "errands.py" in detail
    assert (job.state, job.not_before, job.claimed_by) == (Job.State.QUEUED, now + timedelta(seconds=30), "")


def test_the_rest_grows_and_the_attempts_are_bounded(db: None) -> None:
    """30 s, 2, 8 and 32 minutes; the fifth failure is the last."""
    job = a_job("test_failing")
    rests = []
    now = clock.now()
    while job.state == Job.State.QUEUED:
        with clock.at(now):
            ended = work.run_job(job.pk)
        assert ended is not None
        job = ended
        rests.append((job.not_before - now).total_seconds())
        now = max(now, job.not_before)
    assert rests[:-1] == [30, 120, 480, 1920]
    assert (job.state, job.attempts, job.finished_at) == (Job.State.FAILED, pace.ATTEMPTS, now)
    assert work.run_job(job.pk) is None


def test_a_refusal_is_final_and_in_plain_words(db: None) -> None:
    """What was refused on purpose would be refused again: no second attempt, no traceback."""
    job = a_failed_job()
    assert (job.state, job.attempts) == (Job.State.FAILED, 1)
    assert job.error == "The file has no column “asset”; give it one."


def test_an_unknown_kind_fails_in_words(db: None) -> None:
    """A job that no room does says so and names the kinds there are."""
    job = work.run_job(a_job("polish_silver").pk)
    assert job is not None
    assert job.state == Job.State.FAILED
    assert "'polish_silver'" in job.error
    assert "test_quick" in job.error


def test_two_handlers_for_one_kind_are_refused() -> None:
    """Which of two handlers ran would depend on the order of imports."""
    with pytest.raises(ValueError, match="two handlers for jobs of kind 'test_quick'"):
        handlers.handler("test_quick")(lambda _run: {})


def test_a_silent_job_waits_again_and_at_last_fails(db: None) -> None:
    """A job that kills its workers is not begun for ever: the sweep fails it after the last attempt, and says why."""
    job = a_job("test_quick")
    now = clock.now()
    for attempt in range(1, pace.ATTEMPTS + 1):
        with clock.at(now):
            claimed = claim(job.pk)
        assert claimed is not None
        assert claimed.attempts == attempt
        now += pace.LEASE + timedelta(seconds=1)
        with clock.at(now):
            assert actions.sweep()["freed"] == 1
    job.refresh_from_db()
    assert job.state == Job.State.FAILED
    assert "went silent" in job.error
    assert "attempt 5, the last" in job.error


def test_the_sweep_sends_what_nobody_followed_and_only_that(db: None) -> None:
    """A message is sent again when it is old, or was never sent; not for what is fresh, resting or in hand."""
    now = clock.now()
    enqueue("test_quick", key="fresh")
    old = enqueue("test_quick", key="old")
    Job.objects.filter(pk=old.pk).update(sent_at=now - pace.RESEND - timedelta(seconds=1))
    enqueue("test_quick", key="resting", not_before=now + timedelta(hours=1))
    claim(enqueue("test_quick", key="in hand").pk)
    assert actions.sweep() == {"freed": 0, "sent": 1}
    assert actions.sweep() == {"freed": 0, "sent": 0}
    old.refresh_from_db()
    assert old.sent_at is not None
    assert old.sent_at >= now


def test_what_rested_is_sent_when_its_time_has_come(db: None) -> None:
    """After a failure the next attempt needs no new message from anybody but the sweep."""
    job = work.run_job(a_job("test_failing").pk)
    assert job is not None
    assert actions.sweep()["sent"] == 0
    with clock.at(job.not_before + timedelta(seconds=1)):
        assert actions.sweep()["sent"] == 1


def test_a_broker_that_is_down_loses_no_job(child_environment: dict[str, str]) -> None:
    """The change commits, the row waits, and the log says that the broker does not answer."""
    script = (
        "import django; django.setup()\n"
        "from fleet.jobs.actions import enqueue\n"
        "enqueue('test_quick', key='without a broker')\n"
    )
    nobody = {"BENCHWARD_BROKER_URL": "redis://127.0.0.1:1/0"}
    ended = subprocess.run(
        [sys.executable, "-c", script],
        env={**child_environment, **nobody},
        cwd=settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    assert "the broker does not answer" in ended.stderr
    assert Job.objects.get().state == Job.State.QUEUED


def test_a_failed_job_is_put_back_with_all_its_attempts_and_a_trail(db: None) -> None:
    """Whoever holds the duty lets it wait again; the trail keeps who, why and the error it had."""
    job = actions.put_back(a_failed_job(), why="the file was mended", by=command_actor("test"))
    assert (job.state, job.attempts, job.error) == (Job.State.QUEUED, 0, "")
    entry = TrailEntry.objects.get()
    assert (entry.verb, entry.subject_id, entry.why) == ("put job back to wait", job.pk, "the file was mended")
    assert entry.before["error"].startswith("The file has no column")
    assert entry.after["state"] == "queued"


def test_only_a_failed_job_is_put_back(db: None) -> None:
    """A finished job is begun again only on purpose, one in hand never."""
    done = work.run_job(a_job("test_quick").pk)
    assert done is not None
    with pytest.raises(ConflictError, match=r"is done; only a failed job"):
        actions.put_back(done, by=command_actor("test"))
    again = actions.put_back(done, even_done=True, by=command_actor("test"))
    claim(again.pk)
    with pytest.raises(ConflictError, match="is running"):
        actions.put_back(again, even_done=True, by=command_actor("test"))


def test_putting_back_needs_the_duty(db: None) -> None:
    """Nothing changes for somebody without the duty to import records."""
    job = a_failed_job()
    with pytest.raises(NotAllowedError, match="import records"):
        actions.put_back(job, by=Actor("Somebody", Source.PAGE))
    job.refresh_from_db()
    assert job.state == Job.State.FAILED
