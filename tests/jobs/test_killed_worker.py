"""Workers are killed in mid-job. Runs on whatever database and broker the suite runs on."""

import signal
from collections import Counter
from pathlib import Path

import pytest

from fleet.jobs.actions import enqueue
from fleet.jobs.models import Job
from tests.jobs.conftest import StartWorker
from tests.jobs.workers import wait_until

pytestmark = pytest.mark.slow

PIECES = 6
EACH_ONCE = {str(piece): 1 for piece in range(PIECES)}


def an_errand(folder: Path, number: int = 0, **payload: int) -> Job:
    place = folder / f"errand-{number}"
    place.mkdir()
    return enqueue("test_errand", key=f"errand:{number}", payload={"folder": str(place), "pieces": PIECES, **payload})


def pieces_done(folder: Path, number: int = 0) -> Counter[str]:
    return Counter((folder / f"errand-{number}" / "done.log").read_text().split())


def all_done() -> bool:
    return not Job.objects.exclude(state=Job.State.DONE).exists()


@pytest.mark.parametrize("pool", ["solo", "prefork"])
def test_the_job_of_a_killed_worker_is_done_once_by_another(
    start_worker: StartWorker, own_folder: Path, pool: str
) -> None:
    """SIGKILL in mid-job loses neither the job nor what was done of it, and nothing is done twice."""
    job = an_errand(own_folder, wait_at=4)
    first = start_worker(f"--pool={pool}", "--concurrency=1")
    wait_until((own_folder / "errand-0" / "waiting-1").exists, "the first worker's fourth piece", first)
    first.signal(signal.SIGKILL)
    job.refresh_from_db()
    assert (job.state, job.attempts) == (Job.State.RUNNING, 1)
    killed = job.claimed_by

    (own_folder / "errand-0" / "go").touch()
    second = start_worker(f"--pool={pool}", "--concurrency=1")
    wait_until(all_done, "the job's end", second)
    job.refresh_from_db()
    assert job.attempts > 1
    assert job.claimed_by != killed
    assert (job.progress, job.total, job.counts, job.error) == (PIECES, PIECES, {"pieces": PIECES}, "")
    assert pieces_done(own_folder) == EACH_ONCE


def test_many_jobs_outlive_one_of_two_workers(start_worker: StartWorker, own_folder: Path) -> None:
    """Of two workers, each with a timetable, one is killed while both work; every job is done, every piece once."""
    count = 8
    for number in range(count):
        an_errand(own_folder, number, wait_at=3)
    workers = [start_worker("--pool=prefork", "--concurrency=2") for _ in range(2)]
    gates = [own_folder / f"errand-{number}" / "waiting-1" for number in range(count)]
    wait_until(lambda: sum(gate.exists() for gate in gates) == 4, "four jobs begun by two workers", *workers)
    claims = dict(Job.objects.filter(state=Job.State.RUNNING).values_list("pk", "claimed_by"))
    workers[0].signal(signal.SIGKILL)
    for number in range(count):
        (own_folder / f"errand-{number}" / "go").touch()
    wait_until(all_done, "the end of every job", workers[1])
    assert [pieces_done(own_folder, number) for number in range(count)] == [EACH_ONCE] * count
    # At least the two that were in the dead worker's hands were begun again by the other.
    begun_again = [job for job in Job.objects.filter(pk__in=claims) if job.claimed_by != claims[job.pk]]
    assert len(begun_again) >= 2
    assert all(job.attempts > 1 for job in begun_again)


def test_a_job_whose_message_is_lost_is_done(start_worker: StartWorker, own_folder: Path) -> None:
    """A row that the broker never heard of is found by the sweep."""
    enqueue("test_quick", key="unheard", send=False)
    worker = start_worker("--pool=solo")
    wait_until(all_done, "the end of a job without a message", worker)


def test_a_worker_that_is_asked_to_stop_ends_its_job_first(start_worker: StartWorker, own_folder: Path) -> None:
    """SIGTERM lets the job in hand end, so that a restart repeats no work."""
    job = an_errand(own_folder, wait_at=4)
    worker = start_worker("--pool=solo")
    wait_until((own_folder / "errand-0" / "waiting-1").exists, "the fourth piece", worker)
    worker.process.send_signal(signal.SIGTERM)
    (own_folder / "errand-0" / "go").touch()
    wait_until(lambda: worker.process.poll() is not None, "the worker's end", worker)
    job.refresh_from_db()
    assert (job.state, job.attempts) == (Job.State.DONE, 1)


def test_a_worker_does_not_start_with_wrong_settings(start_worker: StartWorker) -> None:
    """A wrong setting stops the worker, with the check's id and what would be right."""
    worker = start_worker("--pool=solo", BENCHWARD_CURRENCY="pounds please")
    wait_until(lambda: worker.process.poll() is not None, "the refusal to start", worker)
    assert worker.process.returncode != 0
    assert "benchward.E" in worker.words()
    assert "HINT" in worker.words()


def test_two_lines_a_job_in_the_log(start_worker: StartWorker, own_folder: Path) -> None:
    """The worker's log tells when a job began and ended, once each, and nothing of every sweep."""
    enqueue("test_quick", key="told", send=False)
    worker = start_worker("--pool=solo", "--loglevel=INFO")
    wait_until(lambda: "told: done" in worker.words(), "the line at the job's end", worker)
    assert worker.words().count("told: begun, attempt 1") == 1
    assert worker.words().count("told: done, {'spoons': 3, 'of_silver': 1}") == 1
    assert "sweep" not in worker.words().replace(". fleet.jobs.sweep", "")


def test_nothing_of_a_killed_worker_stays_behind(start_worker: StartWorker) -> None:
    """When only the worker's main process is killed, its children and its timetable end by themselves."""
    worker = start_worker("--pool=prefork", "--concurrency=2")
    enqueue("test_quick", key="alive", send=False)
    wait_until(all_done, "a sign that the worker and its timetable are up", worker)
    worker.process.kill()
    worker.process.wait()
    wait_until(worker.is_gone, "the end of its children", worker)
