"""The small demonstration hospital, built once for this folder's tests and undone after them."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.demo.built import Demo, digest, run, undone


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[Demo]:
    """Build the hospital twice, each in an empty database; the second stays for the tests."""
    with django_db_blocker.unblock():
        with undone():
            run()
            twin = digest()
        with undone():
            yield Demo(run(), twin)
