"""The nightly jobs on alerts and on libraries, through the job table's own door."""

from datetime import date

import pytest

from fleet.jobs.handlers import Run, kind
from fleet.libraries import actions as libraries
from fleet.libraries.models import CoverageSnapshot
from tests.alerts.builders import an_alert
from tests.builders import BY, a_device, a_site
from tests.libraries.builders import a_version

pytestmark = pytest.mark.django_db


def run(name: str, day: date) -> dict[str, int]:
    return kind(name).handle(Run(1, name, {}, day, 1, lambda _done, _total: None))


def test_alerts_are_aged() -> None:
    """The job tells how many alerts are open and how many it wrote."""
    an_alert()
    assert run("age_alerts", date(2027, 6, 9)) == {"open": 1, "aged": 0}


def test_coverage_is_kept_for_the_jobs_day() -> None:
    """The counts stand under the day the job is for, also when it runs after midnight."""
    a_device()
    libraries.require(a_site(), a_version(), date(2027, 1, 15), by=BY)
    assert run("library_coverage", date(2027, 6, 9)) == {"places": 1, "behind": 0}
    assert CoverageSnapshot.objects.get().day == date(2027, 6, 9)
