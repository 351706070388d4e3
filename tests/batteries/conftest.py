"""Who sits at the screen, and which day it is."""

from collections.abc import Iterator

import pytest
from django.test import Client

from fleet.people.models import Person
from fleet.web import clock
from tests.batteries.builders import TODAY, signed_in


@pytest.fixture
def today() -> Iterator[None]:
    """It is 25 November 2026; the months of a demand begin with December."""
    with clock.at(TODAY):
        yield


@pytest.fixture
def desk(manager: Person) -> Client:
    return signed_in(manager)


@pytest.fixture
def bench(technician: Person) -> Client:
    return signed_in(technician)
