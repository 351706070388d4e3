"""The start itself: the real commands, with wrong values, in a process of their own."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from pytest_django import Settings

from fleet.web.checks import require_sound_settings
from fleet.web.environment import Fault
from tests.web.starting import only_these


def run(folder: Path, *command: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run Python in the repository with these settings and no others."""
    return subprocess.run(
        [sys.executable, *command],
        cwd=settings.BASE_DIR,
        env=only_these(folder, **variables),
        capture_output=True,
        text=True,
        check=False,
    )


def test_check_passes_with_sound_settings(tmp_path: Path) -> None:
    """`manage.py check` finds nothing to say about a key and defaults."""
    done = run(tmp_path, "manage.py", "check")
    assert (done.returncode, "no issues" in done.stdout) == (0, True), done.stderr


@pytest.mark.parametrize(
    ("variable", "value", "fault"),
    [
        ("BENCHWARD_SECRET_KEY", "", "E004"),
        ("BENCHWARD_TIME_ZONE", "Europe/Atlantis", "E007"),
        ("DATABASE_URL", "mysql://u:sesame@h/n", "E009"),
        ("BENCHWARD_BROKER_URL", "amqp://h", "E010"),
    ],
)
def test_check_stops_on_a_wrong_value(tmp_path: Path, variable: str, value: str, fault: str) -> None:
    """`manage.py check` fails with the fault's id and a hint, and no traceback."""
    done = run(tmp_path, "manage.py", "check", **{variable: value})
    assert done.returncode == 1
    assert f"(benchward.{fault})" in done.stderr
    assert "HINT" in done.stderr
    assert "Traceback" not in done.stderr
    assert "sesame" not in done.stderr


def test_a_command_does_not_start_on_a_wrong_value(tmp_path: Path) -> None:
    """`manage.py migrate` writes nothing when a setting is wrong."""
    done = run(tmp_path, "manage.py", "migrate", BENCHWARD_CURRENCY="money")
    assert done.returncode == 1
    assert "(benchward.E008)" in done.stderr
    with closing(sqlite3.connect(tmp_path / "benchward.sqlite3")) as database:
        assert database.execute("SELECT name FROM sqlite_master").fetchall() == []


def test_the_web_server_does_not_start_on_a_wrong_value(tmp_path: Path) -> None:
    """Loading `fleet.wsgi`, which runs no command, is stopped too."""
    done = run(tmp_path, "-c", "import fleet.wsgi", BENCHWARD_DEBUG="perhaps")
    assert done.returncode == 1
    assert "(benchward.E001)" in done.stderr


def test_the_web_server_starts_with_sound_settings(tmp_path: Path) -> None:
    """Loading `fleet.wsgi` with a key and defaults works."""
    done = run(tmp_path, "-c", "import fleet.wsgi")
    assert done.returncode == 0, done.stderr


def test_sound_settings_are_required_by_name(settings: Settings) -> None:
    """What stops a server or a worker names each fault and its hint."""
    settings.ENVIRONMENT = type("Environment", (), {"faults": (Fault("benchward.E001", "Odd.", "Mend it."),)})
    with pytest.raises(ImproperlyConfigured, match=r"\(benchward\.E001\) Odd\.\s+HINT: Mend it\."):
        require_sound_settings()


def test_deployment_checks_are_silent_over_https(tmp_path: Path) -> None:
    """With HTTPS on, Django's own deployment checks find nothing to warn of."""
    done = run(
        tmp_path,
        "manage.py",
        "check",
        "--deploy",
        "--fail-level=WARNING",
        BENCHWARD_SECRET_KEY="".join(chr(33 + i % 90) for i in range(70)),
        BENCHWARD_HTTPS="1",
        BENCHWARD_ORIGIN="https://benchward.example.org",
    )
    assert done.returncode == 0, done.stderr
