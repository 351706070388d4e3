"""A backup that is put back holds the whole record, still guarded and still proven."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from fleet.audit.models import TrailEntry
from tests.audit.test_seals import act, sealed


@pytest.mark.sqlite
def test_a_restored_copy_is_verified_and_still_refuses_changes(
    tmp_path: Path, child_environment: dict[str, str]
) -> None:
    """Copied while it runs and put elsewhere, every entry is there, the seals hold, and the guard came along."""
    for number in range(3):
        act(f"act {number}")
    sealed()
    copy = tmp_path / "restored.sqlite3"
    connection.ensure_connection()
    with closing(sqlite3.connect(copy)) as target:
        connection.connection.backup(target)
    done = subprocess.run(
        [sys.executable, "manage.py", "verify"],
        cwd=settings.BASE_DIR,
        env={**child_environment, "DATABASE_URL": f"sqlite:///{copy}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert f"{TrailEntry.objects.count()} entries of the trail" in done.stdout
    with closing(sqlite3.connect(copy)) as restored, pytest.raises(sqlite3.DatabaseError, match="append-only"):
        restored.execute("UPDATE fleet_trailentry SET actor = 'forged'")
