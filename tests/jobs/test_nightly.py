"""`manage.py nightly`: the night in one process, on the same rows as the workers'."""

from collections.abc import Iterator
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from fleet.audit.models import TrailEntry
from fleet.jobs import actions, timetable
from fleet.jobs.models import Job
from fleet.jobs.timetable import Nightly
from fleet.web import clock, phrases

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def short_night(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let the night hold two kinds that the tests know."""
    entries = (Nightly("test_quick", 1), Nightly("test_refused", 2))
    monkeypatch.setattr(timetable, "NIGHTLY", entries)
    monkeypatch.setattr(timetable, "BY_KIND", {entry.kind: entry for entry in entries})
    return


def nightly(*options: str) -> str:
    words = StringIO()
    call_command("nightly", *options, stdout=words, stderr=words)
    return words.getvalue()


def test_a_kind_is_run_and_its_counts_told() -> None:
    """The command does the day's job, keeps its row, and says in words what was counted."""
    assert "Count the spoons: 3 spoons, 1 of silver" in nightly("--only", "test_quick")
    job = Job.objects.get()
    assert (job.key, job.state) == (f"test_quick:{clock.today().isoformat()}", Job.State.DONE)


def test_a_night_already_done_is_left_alone_unless_asked_again() -> None:
    """A second run says so; --again runs it once more on the same row, and the trail says that a command did."""
    nightly("--only", "test_quick")
    assert f"already done for {phrases.day(clock.today())}" in nightly("--only", "test_quick")
    assert Job.objects.get().attempts == 1
    assert not TrailEntry.objects.exists()
    assert "3 spoons" in nightly("--only", "test_quick", "--again")
    assert Job.objects.count() == 1
    assert TrailEntry.objects.get().actor == "command nightly"


def test_one_failure_stops_no_other_and_fails_the_command() -> None:
    """All kinds are tried; the command ends with an error that names the failed ones, and prints why."""
    words = StringIO()
    with pytest.raises(CommandError, match=r"Failed: test_refused\."):
        call_command("nightly", stdout=words, stderr=words)
    assert "3 spoons" in words.getvalue()
    assert "no column" in words.getvalue()


def test_what_failed_is_tried_again_without_asking() -> None:
    """A failed job is not a done one."""
    for _ in range(2):
        with pytest.raises(CommandError):
            nightly("--only", "test_refused")
    assert TrailEntry.objects.get().verb == "put job back to wait"


def test_a_job_in_another_workers_hands_is_left_there() -> None:
    """The command never does a job twice at once."""
    job = actions.raise_nightly(timetable.BY_KIND["test_quick"], clock.today(), send=False)
    actions.claim(job.pk)
    assert "another worker is doing it" in nightly("--only", "test_quick")


def test_a_day_that_is_over_can_be_run() -> None:
    """--day runs the night of that day, under that day's key."""
    yesterday = clock.today() - timedelta(days=1)
    nightly("--only", "test_quick", "--day", yesterday.isoformat())
    assert Job.objects.get().key == f"test_quick:{yesterday.isoformat()}"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--day", "2999-01-01"), "lies ahead"),
        (("--day", "14/3/2027"), "is not a day; write it as YYYY-MM-DD"),
        (("--only", "polish_silver"), "invalid choice"),
    ],
)
def test_a_wrong_option_is_refused_in_words(options: tuple[str, str], words: str) -> None:
    """Nothing is raised for a day or a kind that makes no sense."""
    with pytest.raises(CommandError, match=words):
        nightly(*options)
    assert not Job.objects.exists()


def test_a_weekly_job_runs_on_its_day_or_when_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """The night of another day leaves it out; --only does it on any day."""
    weekly = Nightly("test_quick", 1, weekday=(clock.today().weekday() + 1) % 7)
    monkeypatch.setattr(timetable, "NIGHTLY", (weekly,))
    assert nightly() == ""
    assert "3 spoons" in nightly("--day", (clock.today() - timedelta(days=6)).isoformat())
    assert "3 spoons" in nightly("--only", "test_quick")
