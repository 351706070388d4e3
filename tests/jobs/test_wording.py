"""Jobs in words."""

from datetime import UTC, datetime, timedelta

import pytest

from fleet.jobs import wording
from fleet.jobs.models import Job

START = datetime(2027, 3, 14, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "under 1 s"), (1, "1 s"), (59.9, "59 s"), (60, "1 min 0 s"), (3599, "59 min 59 s"), (7380, "2 h 3 min")],
)
def test_how_long_a_job_took(seconds: float, words: str) -> None:
    """Seconds, minutes or hours, counted down, never up."""
    job = Job(started_at=START, finished_at=START + timedelta(seconds=seconds))
    assert wording.took(job) == words


def test_a_job_that_has_not_ended_took_nothing_yet() -> None:
    """No duration is invented for what waits or runs."""
    assert wording.took(Job(started_at=START)) == ""


@pytest.mark.parametrize(
    ("key", "words"), [("roll_dues:2027-03-14", "14\u00a0Mar\u00a02027"), ("intake:7:check", "7:check"), ("x", "x")]
)
def test_what_a_job_is_for(key: str, words: str) -> None:
    """The page shows what a key tells beside the kind."""
    assert wording.purpose(key) == words


def test_a_long_error_is_cut_for_the_table_only() -> None:
    """A row holds the beginning; the words themselves are kept whole, apart from the technical detail."""
    job = Job(error=f"{'word ' * 50}end\n\nTraceback")
    assert len(wording.short_error(job)) <= wording.SHORT
    assert wording.error(job) == (f"{'word ' * 50}end", "Traceback")
