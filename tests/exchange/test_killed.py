"""A commit whose process is killed: nothing is half-written, and it is done once afterwards."""

import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings

from fleet.audit.models import TrailEntry
from fleet.exchange import actions
from fleet.exchange.models import Intake
from fleet.registry.models import Device
from tests.exchange.builders import a_file, a_home, driver_row, told_nothing

ROWS = 4000
PATIENCE = 120


def wait_for_commit(process: subprocess.Popen[bytes]) -> Intake:
    """The file once its commit has begun."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end and process.poll() is None:
        if intake := Intake.objects.filter(state=Intake.State.COMMITTING).first():
            return intake
        time.sleep(0.01)
    raise AssertionError(f"the commit has not begun; the process ended with {process.poll()}")


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_a_killed_commit_leaves_nothing_half_written(child_environment: dict[str, str], tmp_path: Path) -> None:
    """Of the rows and of the trail there are none; begun again, the same file is committed whole and once."""
    path = tmp_path / "drivers.csv"
    home = a_home()
    path.write_bytes(a_file([driver_row(number, home) for number in range(ROWS)]))
    words = [sys.executable, "manage.py", "intake", "devices", str(path), "--commit"]
    process = subprocess.Popen(words, cwd=settings.BASE_DIR, env=child_environment, stderr=subprocess.DEVNULL)
    try:
        intake = wait_for_commit(process)
    finally:
        process.kill()
        process.wait()
    assert (Device.objects.count(), TrailEntry.objects.filter(verb="added device").count()) == (0, 0)
    actions.commit(intake.pk, progress=told_nothing)
    actions.commit(intake.pk, progress=told_nothing)
    assert Device.objects.count() == ROWS
    assert TrailEntry.objects.filter(verb="committed file").count() == 1
