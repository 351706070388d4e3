"""Jobs of this room are run inside the test's own transaction."""

from datetime import timedelta

import pytest

from fleet.jobs import pace


@pytest.fixture(autouse=True)
def no_heartbeat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the sign of life silent: on PostgreSQL its own connection can't see a job of an open transaction."""
    monkeypatch.setattr(pace, "HEARTBEAT", timedelta(hours=1))
