"""Where each role starts."""

import pytest
from django.test import Client
from django.urls import reverse

from fleet.people.models import Person
from fleet.people.roles import Role
from tests.builders import a_person
from tests.reports.builders import signed_in

pytestmark = pytest.mark.django_db

STARTS = {
    Role.WARD: "tags:find",
    Role.TECHNICIAN: "bench:queue",
    Role.MANAGER: "reports:overview",
    Role.STOREKEEPER: "batteries:will_not_last",
    Role.ADMINISTRATOR: "people:list",
}


@pytest.mark.parametrize("role", Role)
def test_each_role_starts_at_its_own_work(role: Role) -> None:
    """The first page leads to one that the role may open."""
    answer = signed_in(a_person(role, everywhere=True)).get("/", follow=True)
    assert answer.redirect_chain == [(reverse(STARTS[role]), 302)]
    assert answer.status_code == 200


def test_somebody_without_a_role_gets_to_their_account(ward_nurse: Person) -> None:
    """Before a role is given there is nothing but the own account to see."""
    ward_nurse.groups.clear()
    assert signed_in(ward_nurse).get("/").headers["Location"] == reverse("people:account")


def test_a_stranger_signs_in_first() -> None:
    """The first page is for people with an account."""
    assert Client().get("/").headers["Location"].startswith(reverse("sign-in"))
