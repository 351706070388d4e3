"""What the tests of sign-ins share."""

import pytest

from tests.people.phones import Ticking, ticking_for


@pytest.fixture
def ticking(monkeypatch: pytest.MonkeyPatch) -> Ticking:
    """Give the clock that codes are made by, held."""
    return ticking_for(monkeypatch)
