"""Two who give the same code at the same moment, on two real connections."""

import pytest

from fleet.people.actions import Taken, take_code
from fleet.people.models import Person
from fleet.people.queries import actor_for, codes_left
from tests.bench.test_race import together
from tests.people.phones import Ticking, with_factor

pytestmark = pytest.mark.django_db(transaction=True)


def test_one_of_two_signs_in_with_a_code_of_the_app(technician: Person, ticking: Ticking) -> None:
    """Whoever copied it in the moment it was typed is refused, or its owner is: never both let in."""
    phone, _ = with_factor(technician, ticking)
    by, code = actor_for(technician), phone.code
    results = together(lambda each: take_code(technician, code, by=each), [by, by])
    assert sorted(results, key=str) == [None, Taken.FROM_APP]


def test_one_of_two_signs_in_with_a_recovery_code(technician: Person, ticking: Ticking) -> None:
    """The same for a code on paper, which is used up once."""
    _, codes = with_factor(technician, ticking)
    by = actor_for(technician)
    results = together(lambda each: take_code(technician, codes[0], by=each), [by, by])
    assert sorted(results, key=str) == [None, Taken.RECOVERY]
    assert codes_left(technician) == 9
