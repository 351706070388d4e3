"""What the other tests stand on: an empty database each time, child processes on it, no skip in CI."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.db import DatabaseError, transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import command_actor
from fleet.audit.models import TrailEntry
from tests.builders import a_ward

SKIPS = {
    "a skipped test": "import pytest\n\ndef test_it():\n    pytest.skip('no broker')\n",
    "a skipped file": "import pytest\n\npytest.skip('no broker', allow_module_level=True)\n",
    "a test marked to be skipped": "import pytest\n\n@pytest.mark.skip(reason='no broker')\ndef test_it(): pass\n",
}


@pytest.mark.parametrize("_time", ["first", "second"])
@pytest.mark.django_db(transaction=True)
def test_a_transactional_test_finds_an_empty_guarded_trail(_time: str) -> None:
    """Each transactional test starts with an empty trail, and the database guards it again."""
    before = TrailEntry.objects.count()
    record(Happening("tried", a_ward()), by=command_actor("test"))
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        TrailEntry.objects.all().delete()
    assert before == 0


def test_a_child_process_sees_this_tests_rows(child_environment: dict[str, str]) -> None:
    """A process of ours works on the same database as the test that starts it."""
    ward = a_ward("Ward of the child process")
    code = "from fleet.registry.models import Place; print(*Place.objects.values_list('name', flat=True))"
    done = subprocess.run(
        [sys.executable, "manage.py", "shell", "--verbosity=0", "-c", code],
        cwd=settings.BASE_DIR,
        env=child_environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ward.name in done.stdout, done.stderr


def run_pytest(folder: Path, code: str, **variables: str) -> subprocess.CompletedProcess[str]:
    (folder / "test_it.py").write_text(code)
    inherited = {name: value for name, value in os.environ.items() if name != "CI"}
    plugins = ["-p", "tests.no_skips", "-p", "no:django", "-p", "no:cacheprovider"]
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-c", os.devnull, "--rootdir", str(folder), *plugins, str(folder)],
        cwd=settings.BASE_DIR,
        env={**inherited, **variables},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("what", SKIPS)
def test_a_skip_fails_in_ci(tmp_path: Path, what: str) -> None:
    """With CI set, whatever is skipped fails and says why; without, it is skipped."""
    in_ci = run_pytest(tmp_path, SKIPS[what], CI="true")
    by_hand = run_pytest(tmp_path, SKIPS[what])
    assert in_ci.returncode in {1, 2}
    assert "no broker" in in_ci.stdout
    assert by_hand.returncode in {0, 5}
