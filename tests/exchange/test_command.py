"""`manage.py intake`: the same on the server, without a worker."""

import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fleet.audit.models import TrailEntry
from fleet.exchange.models import Intake
from fleet.registry.models import Device
from tests.exchange.builders import a_file, a_home, driver_row

pytestmark = pytest.mark.django_db


def run(*words: str) -> str:
    out = io.StringIO()
    call_command("intake", *words, stdout=out, stderr=out)
    return out.getvalue()


@pytest.fixture
def file(tmp_path: Path) -> str:
    """Give a file of two drivers."""
    path = tmp_path / "drivers.csv"
    path.write_bytes(a_file([driver_row(number, a_home()) for number in range(2)]))
    return str(path)


def test_it_checks_and_writes_nothing_by_itself(file: str) -> None:
    """What a commit would do is told in words."""
    told = run("devices", file)
    assert "2 drivers will be added." in told
    assert "--commit" in told
    assert Device.objects.count() == 0


def test_it_commits_when_asked(file: str) -> None:
    """All rows, with the command in the trail; run again everything is known."""
    assert "Committed: 2 drivers added." in run("devices", file, "--commit")
    entry = TrailEntry.objects.filter(verb="added device").first()
    assert entry is not None
    assert (entry.actor, entry.source) == ("command intake", "import")
    assert "2 already known" in run("devices", file, "--commit")


def test_it_names_what_is_wrong(tmp_path: Path) -> None:
    """Row, column, value and what would be right; the command fails and nothing is written."""
    path = tmp_path / "drivers.csv"
    path.write_bytes(a_file([driver_row(1, a_home(), accepted_on="3.4.2024", pool="lone")]))
    out = io.StringIO()
    with pytest.raises(CommandError, match="1 driver refused"):
        call_command("intake", "devices", str(path), "--commit", stderr=out)
    assert "row 2, accepted_on: 3.4.2024: Day or month first?" in out.getvalue()
    assert Intake.objects.get().state == Intake.State.REFUSED
    with pytest.raises(CommandError, match="1 driver refused"):
        call_command("intake", "devices", str(path), "--dates", "day", stderr=out)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """In words, without a traceback."""
    with pytest.raises(CommandError, match="No such file"):
        run("devices", str(tmp_path / "missing.csv"))
