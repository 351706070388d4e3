"""The night's job on dues, through the job table's own door."""

from datetime import date

import pytest

from fleet.jobs.handlers import Run, kind
from fleet.schedules.models import Due
from tests.schedules.builders import a_due

pytestmark = pytest.mark.django_db


def test_the_job_reckons_and_marks_and_can_be_run_again() -> None:
    """The handler marks what is late on the job's own day, tells how far it is, and finds nothing the second time."""
    a_due()
    told: list[tuple[int, int | None]] = []
    run = Run(1, "roll_dues", {}, date(2028, 3, 2), 1, lambda done, total: told.append((done, total)))
    assert kind("roll_dues").handle(run) == {"readings kept": 0, "moved by their counters": 0, "marked late": 1}
    assert kind("roll_dues").handle(run) == {"readings kept": 0, "moved by their counters": 0, "marked late": 0}
    assert told == [(1, None)]
    assert Due.objects.get().late_since == date(2028, 3, 2)
