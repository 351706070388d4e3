"""The cast: people who recur in the tests. Each sees Mereford General, but for the outsider."""

import pytest

from fleet.people.models import Person
from fleet.people.roles import Role
from tests.builders import a_person, a_site, a_ward


@pytest.fixture
def technician(db: None) -> Person:
    """A biomedical technician of Mereford General."""
    return a_person(Role.TECHNICIAN, "Tova Lindqvarn", (a_site(),))


@pytest.fixture
def second_technician(db: None) -> Person:
    """Another technician at the same bench."""
    return a_person(Role.TECHNICIAN, "Bram Ostley", (a_site(),))


@pytest.fixture
def manager(db: None) -> Person:
    """The manager of Mereford General's drivers."""
    return a_person(Role.MANAGER, "Maud Ferrant", (a_site(),))


@pytest.fixture
def ward_nurse(db: None) -> Person:
    """A nurse who sees Ward 4 only."""
    return a_person(Role.WARD, "Nell Averby", (a_ward(),))


@pytest.fixture
def storekeeper(db: None) -> Person:
    """The storekeeper of Mereford General."""
    return a_person(Role.STOREKEEPER, "Stig Halloway", (a_site(),))


@pytest.fixture
def administrator(db: None) -> Person:
    """The administrator, who sees every place."""
    return a_person(Role.ADMINISTRATOR, "Ada Quennell", everywhere=True)


@pytest.fixture
def outsider(db: None) -> Person:
    """A manager of another site, who must see nothing of Mereford General."""
    return a_person(Role.MANAGER, "Otto Brackwell", (a_site("Corran Vale"),))
