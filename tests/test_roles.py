"""Each role meets each address of the house: whoever lacks its duty is refused, by reading and by sending.

What stands at other places is tried in tests/test_outsider.py; guards ask before they look, so made-up numbers do here.
"""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.core.permissions import May
from fleet.people.roles import ROLE_DUTIES, Role
from tests.builders import a_person
from tests.pages import signed_in
from tests.test_outsider import ADDRESSES

pytestmark = pytest.mark.django_db
MADE_UP: dict[str, Any] = {"int": 1, "slug": "x", "str": "x", "path": "x"}


def duties_of(name: str) -> set[May]:
    """The duties of which an address asks for one; none where it asks for no duty."""
    return {duty for duty in ADDRESSES[name].callback.guarded_by if isinstance(duty, May)}


def address(name: str) -> str:
    kinds = {
        key: type(kind).__name__.removesuffix("Converter") for key, kind in ADDRESSES[name].pattern.converters.items()
    }
    return reverse(
        name, kwargs={key: MADE_UP[{"Int": "int", "Slug": "slug"}.get(kind, "str")] for key, kind in kinds.items()}
    )


GUARDED = sorted(name for name in ADDRESSES if duties_of(name))


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.ADMINISTRATOR])
def test_a_role_is_refused_whatever_asks_for_a_duty_it_lacks(role: Role) -> None:
    """Neither the page nor anything sent to it is answered: 403 for both, at every such address."""
    client = signed_in(a_person(role, everywhere=True))
    closed = [name for name in GUARDED if not duties_of(name) & ROLE_DUTIES[role]]
    assert len(closed) >= 3
    answered = [
        name
        for name in closed
        for answer in (client.get(address(name)), client.post(address(name)))
        if answer.status_code != 403
    ]
    assert answered == []


def test_without_signing_in_nothing_guarded_is_answered() -> None:
    """A stranger is led to the sign-in page from every address that asks for a duty, by reading and by sending."""
    client = Client()
    for name in GUARDED:
        for answer in (client.get(address(name)), client.post(address(name))):
            assert (answer.status_code, answer.get("Location", "").split("?")[0]) == (302, reverse("sign-in")), name


@pytest.mark.parametrize("role", Role)
def test_a_role_is_let_in_where_it_holds_the_duty(role: Role) -> None:
    """The lists it may read are answered, so that the refusals above do not come from a house that is closed."""
    client = signed_in(a_person(role, everywhere=True))
    held = [name for name in GUARDED if not ADDRESSES[name].pattern.converters and duties_of(name) & ROLE_DUTIES[role]]
    # The pages that add to the register and to the documents ask for more than the guard shared with the lists.
    adding = {name for name in held if name.startswith("registry:") and name.endswith("_new")} | {"documents:new"}
    lists = [name for name in held if name not in adding]
    assert [name for name in lists if client.get(reverse(name)).status_code == 403] == []
