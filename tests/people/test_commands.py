"""The commands that make the roles and the first administrator."""

import io

import pytest
from django.contrib.auth.models import Group
from django.core.management import CommandError, call_command

from fleet.audit.models import TrailEntry
from fleet.people.actions import ensure_roles
from fleet.people.models import Person
from fleet.people.queries import role_of
from fleet.people.roles import ROLE_DUTIES, Role

pytestmark = pytest.mark.django_db

SECRET = "seven grey herons wading"


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> io.StringIO:
    """Standard input that is no terminal."""
    stream = io.StringIO()
    monkeypatch.setattr("sys.stdin", stream)
    return stream


def add(typed: io.StringIO, password: str, *extra: str) -> str:
    typed.write(f"{password}\n")
    typed.seek(0)
    out = io.StringIO()
    call_command("add_person", "ada", "--name", "Ada Quennell", *extra, stdout=out)
    return out.getvalue()


def test_roles_are_put_right_again() -> None:
    """A duty taken from a role by hand is given back, and one added is taken away; the trail tells it, once."""
    ensure_roles()
    ward, administrator = (Group.objects.get(name=role.value) for role in (Role.WARD, Role.ADMINISTRATOR))
    ward.permissions.set(administrator.permissions.all())
    administrator.permissions.clear()
    out = io.StringIO()
    call_command("roles", stdout=out)
    assert ward.permissions.count() == len(ROLE_DUTIES[Role.WARD])
    assert administrator.permissions.count() == len(ROLE_DUTIES[Role.ADMINISTRATOR])
    assert "Ward staff: 1 duties" in out.getvalue()
    told = TrailEntry.objects.filter(verb="changed duties of role").order_by("id")
    assert [(entry.actor, entry.subject_name) for entry in told] == [
        ("command roles", "ward"),
        ("command roles", "administrator"),
    ]
    assert told[0].after == {"duties": ["may_report_fault"]}
    call_command("roles", stdout=out)
    assert told.count() == 2


def test_the_first_administrator_is_added_from_standard_input(typed: io.StringIO) -> None:
    """The password comes from standard input; an administrator sees all places."""
    assert "Ada Quennell may sign in as ada" in add(typed, SECRET)
    person = Person.objects.get(username="ada")
    assert person.check_password(SECRET)
    assert (role_of(person), person.everywhere) == (Role.ADMINISTRATOR, True)


def test_a_ward_person_is_added_with_no_place(typed: io.StringIO) -> None:
    """Anybody but an administrator sees nothing until places are given."""
    add(typed, SECRET, "--role", "ward")
    person = Person.objects.get(username="ada")
    assert (role_of(person), person.everywhere) == (Role.WARD, False)


@pytest.mark.parametrize("password", ["", "short", "Ada Quennell"])
def test_a_weak_password_adds_nobody(typed: io.StringIO, password: str) -> None:
    """The command refuses with words what the page would refuse."""
    with pytest.raises(CommandError, match="password"):
        add(typed, password)
    assert not Person.objects.exists()


def test_a_taken_name_is_refused(typed: io.StringIO) -> None:
    """Running it twice says that the name is taken."""
    add(typed, SECRET)
    typed.seek(0)
    with pytest.raises(CommandError, match="taken"):
        add(typed, SECRET)


def test_no_option_takes_a_password() -> None:
    """A password never stands on the command line, where every user of the machine reads it."""
    with pytest.raises(CommandError, match="unrecognized"):
        call_command("add_person", "ada", "--name", "Ada Quennell", "--password", SECRET)
