"""Persons: their duties come from their role, and their places bound what they see."""

import pytest

from fleet.core.errors import BadValueError, NotAllowedError
from fleet.core.permissions import May
from fleet.people.actions import NewPerson, add_person, set_places, set_role
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.people.roles import ROLE_DUTIES, Role
from fleet.registry.models import Device, Place
from tests.builders import BY, a_device, a_person, a_site, a_ward

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", list(Role))
def test_a_role_grants_exactly_its_duties(role: Role) -> None:
    """The group of a role grants what the table says, no more and no less."""
    assert actor_for(a_person(role)).duties == ROLE_DUTIES[role]


def test_a_change_of_role_counts_at_once(ward_nurse: Person) -> None:
    """Somebody who becomes a technician loses nothing and gains the bench."""
    set_role(ward_nurse, Role.TECHNICIAN, by=BY)
    assert Person.objects.get(pk=ward_nurse.pk).may(May.WORK_ON_BENCH)


def test_a_person_sees_their_places_and_what_lies_below(technician: Person, ward_nurse: Person) -> None:
    """A technician of the site sees both wards' drivers, a nurse of Ward 4 only hers."""
    mine, other = a_device(a_ward("Ward 4")), a_device(a_ward("Ward 5"))
    assert set(Device.objects.within(technician)) == {mine, other}
    assert set(Device.objects.within(ward_nurse)) == {mine}


def test_an_outsider_sees_nothing(outsider: Person) -> None:
    """A manager of another site sees none of ours: neither drivers nor places."""
    a_device()
    assert not Device.objects.within(outsider).exists()
    assert not Place.objects.within(outsider).filter(name="Ward 4").exists()


def test_a_person_without_places_sees_nothing() -> None:
    """No place means no place, not every place."""
    a_device()
    assert not Device.objects.within(a_person(Role.MANAGER)).exists()


def test_a_driver_that_wandered_is_seen_from_both_ends() -> None:
    """A driver of Ward 4 that stands in Ward 5 is seen by both wards."""
    device = a_device(a_ward("Ward 4"), place=a_ward("Ward 5"))
    people = [a_person(Role.WARD, places=(a_ward(name),)) for name in ("Ward 4", "Ward 5", "Ward 6")]
    assert [list(Device.objects.within(person)) for person in people] == [[device], [device], []]


def test_a_place_whose_number_starts_alike_is_not_below() -> None:
    """The path of place 1 must not let in place 11."""
    first = a_site("Site 1")
    others = [a_ward(f"Ward {number}", first) for number in range(15)]
    person = a_person(Role.WARD, places=(others[0],))
    assert list(Place.objects.within(person)) == [others[0]]


def test_a_sign_in_name_is_given_once_in_any_case() -> None:
    """Two people can't share a sign-in name that differs by case only."""
    person = a_person(Role.WARD)
    with pytest.raises(BadValueError, match="taken"):
        add_person(NewPerson(username=person.username.upper(), display_name="X", role=Role.WARD), by=BY)


def test_only_an_administrator_gives_places(manager: Person, ward_nurse: Person) -> None:
    """A manager may not widen what somebody sees."""
    with pytest.raises(NotAllowedError, match="manage people"):
        set_places(ward_nurse, [a_site()], by=actor_for(manager))
