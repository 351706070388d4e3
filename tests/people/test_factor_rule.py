"""Who must have a second factor, who has one, and how one that was lost is removed."""

import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.people.actions import set_sign_in_rule
from fleet.people.models import AccessEntry, Person
from fleet.people.queries import factor_of, must_have_factor
from tests.builders import BY, PASSWORD
from tests.pages import page, signed_in
from tests.people.phones import Ticking, at_the_door, give, scanned, with_factor
from tests.people.test_factor_account import SHOWN
from tests.people.test_factor_sign_in import OPEN
from tests.people.test_sessions import is_in
from tests.people.test_signing import JOBS, SIGN_IN, attempt
from tests.test_outsider import ADDRESSES
from tests.test_roles import address

pytestmark = pytest.mark.django_db
SETTING_UP, RULE = reverse("sign-in-factor"), reverse("people:sign_in_rule")


@pytest.fixture
def must(db: None) -> None:
    """Everybody must have a second factor."""
    set_sign_in_rule("everybody", why="Local policy", by=BY)


def test_nobody_must_until_somebody_says_so(technician: Person, administrator: Person) -> None:
    """A new installation asks nobody."""
    assert not must_have_factor(technician)
    assert not must_have_factor(administrator)


def test_an_administrator_states_it_with_a_reason(
    administrator: Person, manager: Person, technician: Person, ward_nurse: Person
) -> None:
    """The middle choice takes in those who keep people, register, team or limits, and nobody of bench and ward."""
    client = signed_in(administrator)
    refused = client.post(RULE, {"second_factor": "keepers", "why": " "})
    assert "required" in refused.content.decode()
    client.post(RULE, {"second_factor": "keepers", "why": "Decided on 3 March"})
    must = [
        must_have_factor(Person.objects.get(pk=each.pk)) for each in (administrator, manager, technician, ward_nurse)
    ]
    assert must == [True, True, False, False]
    entry = TrailEntry.objects.latest("pk")
    assert (entry.verb, entry.why) == ("changed who must have a second factor", "Decided on 3 March")
    assert "Last changed by Ada Quennell" in client.get(RULE).content.decode()
    assert signed_in(manager).get(RULE).status_code == 403


def test_who_must_and_has_none_turns_it_on_before_anything_opens(
    technician: Person, must: None, ticking: Ticking
) -> None:
    """The password leads to the secret; nothing else opens until a code confirms it, then the page asked for."""
    client = Client()
    assert attempt(client, technician, PASSWORD, next=JOBS)["Location"] == SETTING_UP
    for name in set(ADDRESSES) - OPEN:
        for answer in (client.get(address(name)), client.post(address(name))):
            assert (answer.status_code, answer["Location"].split("?")[0]) == (302, SIGN_IN), name
    phone = scanned(client.get(SETTING_UP).content.decode(), ticking)
    assert "not the code" in client.post(SETTING_UP, {"code": phone.wrong()}).content.decode()
    assert not is_in(client)
    shown = client.post(SETTING_UP, {"code": phone.code}).content.decode()
    assert len(SHOWN.findall(shown)) == 10
    assert f'href="{JOBS}"' in shown
    assert is_in(client)
    kinds = list(AccessEntry.objects.filter(person=technician).order_by("pk").values_list("kind", flat=True))
    assert kinds == ["half", "on", "in"]
    ticking.next_code()
    second = at_the_door(technician, PASSWORD)
    give(second, phone.code)
    assert is_in(second)


def test_who_must_may_still_sign_out(technician: Person, must: None) -> None:
    """Stopping there forgets them; the secret's page is gone."""
    client = Client()
    attempt(client, technician, PASSWORD)
    assert "signed out" in client.post(reverse("sign-out"), follow=True).content.decode()
    assert client.get(SETTING_UP)["Location"] == SIGN_IN


def test_the_page_to_turn_it_on_is_closed_to_who_has_one(technician: Person, must: None, ticking: Ticking) -> None:
    """Who knows the password and waited there cannot put another phone in place of the one that was turned on since."""
    waiting = Client()
    attempt(waiting, technician, PASSWORD)
    theirs = scanned(waiting.get(SETTING_UP).content.decode(), ticking)
    with_factor(technician, ticking)
    assert waiting.get(SETTING_UP)["Location"] == SIGN_IN
    assert waiting.post(SETTING_UP, {"code": theirs.code})["Location"] == SIGN_IN
    assert not is_in(waiting)


def test_who_was_signed_in_goes_on_until_the_next_sign_in(technician: Person) -> None:
    """The rule throws nobody out of their work."""
    client = signed_in(technician)
    set_sign_in_rule("everybody", why="Local policy", by=BY)
    assert is_in(client)


def test_an_administrator_removes_what_another_lost(
    administrator: Person, technician: Person, ticking: Ticking
) -> None:
    """With a reason; their sessions end, the password alone signs in, and both logs tell it."""
    with_factor(technician, ticking)
    theirs, client = signed_in(technician), signed_in(administrator)
    address = reverse("people:person_factor", args=[technician.pk])
    assert "required" in client.post(address, {"why": ""}).content.decode()
    assert factor_of(technician)
    client.post(address, {"why": "Phone fell into the sink; came in person"})
    assert factor_of(technician) is None
    assert not is_in(theirs)
    assert attempt(Client(), technician, PASSWORD)["Location"] == "/"
    entry = TrailEntry.objects.filter(verb="removed second factor").get()
    assert (entry.person_id, entry.subject_id, entry.why) == (
        administrator.pk,
        technician.pk,
        "Phone fell into the sink; came in person",
    )
    assert AccessEntry.objects.filter(kind="lost", person=technician).exists()


def test_only_whoever_manages_people_removes_it_and_never_their_own(
    administrator: Person, manager: Person, technician: Person, ticking: Ticking
) -> None:
    """A manager is refused; an administrator's own goes by password and code."""
    for person in (administrator, technician):
        with_factor(person, ticking)
    why = {"why": "Lost"}
    assert signed_in(manager).post(reverse("people:person_factor", args=[technician.pk]), why).status_code == 403
    own = reverse("people:person_factor", args=[administrator.pk])
    assert "Your own is turned off under" in signed_in(administrator).post(own, why).content.decode()
    assert factor_of(administrator)
    assert factor_of(technician)


def test_the_list_of_people_shows_who_has_one(administrator: Person, technician: Person, ticking: Ticking) -> None:
    """On the list, and with the recovery codes left on the person's page; the rule's page counts them."""
    assert "Off" in page(administrator, "/people/?name=Tova")
    with_factor(technician, ticking)
    assert "On" in page(administrator, "/people/?name=Tova")
    assert "10 recovery codes left" in page(administrator, f"/people/{technician.pk}/")
    assert "1 has one" in page(administrator, RULE)


def test_the_command_helps_the_last_administrator(administrator: Person, ticking: Ticking) -> None:
    """Run at the server, with a reason; the trail and the log of sign-ins tell that it was a command."""
    with_factor(administrator, ticking)
    theirs, out = signed_in(administrator), io.StringIO()
    call_command("remove_factor", administrator.username, "--why", "Phone and sheet burnt", stdout=out)
    assert "password alone" in out.getvalue()
    assert not is_in(theirs)
    assert attempt(Client(), administrator, PASSWORD)["Location"] == "/"
    assert TrailEntry.objects.latest("pk").actor == "command remove_factor"
    assert AccessEntry.objects.get(kind="lost").path == "manage.py remove_factor"


def test_the_command_says_what_is_wrong(administrator: Person) -> None:
    """No such name, nothing to remove, or no reason."""
    for name, words in (("nobody", "Nobody signs in"), (administrator.username, "has no second factor")):
        with pytest.raises(CommandError, match=words):
            call_command("remove_factor", name, "--why", "Lost")
    with pytest.raises(CommandError, match="why"):
        call_command("remove_factor", administrator.username)
