"""One's own account, and the pages where an administrator keeps people."""

from http import HTTPStatus
from typing import Any

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.permissions import May
from fleet.people.actions import edit_person
from fleet.people.models import Person
from fleet.people.queries import actor_for, person_fingerprint, role_of
from fleet.people.roles import Role
from tests.builders import BY, PASSWORD, a_site, a_ward
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db

ACCOUNT = reverse("people:account")
PEOPLE = reverse("people:list")
NEW = reverse("people:new")
SECRET = "seven grey herons wading"


def facts_of(person: Person, **changes: Any) -> dict[str, Any]:
    kept = {
        "display_name": person.display_name,
        "email": person.email,
        "phone": person.phone,
        "role": role_of(person),
        "places": [place.pk for place in person.places.all()],
        "is_active": "on",
        "wants_digest": "on",
        "opened": person_fingerprint(person),
        **changes,
    }
    return {name: value for name, value in kept.items() if value is not None}


def save(by: Person, person: Person, **changes: Any) -> Any:
    return signed_in(by).post(reverse("people:person", args=[person.pk]), facts_of(person, **changes))


def test_everybody_changes_their_own_account(ward_nurse: Person) -> None:
    """Name, phone and morning e-mail are one's own to change; the role is not."""
    client = signed_in(ward_nurse)
    assert "Ward staff" in page(ward_nurse, ACCOUNT)
    sent = {"display_name": "Nell Averby-Roe", "phone": "bleep 7", "role": "administrator", "everywhere": "on"}
    assert client.post(ACCOUNT, sent)["Location"] == ACCOUNT
    kept = Person.objects.get(pk=ward_nurse.pk)
    assert (kept.display_name, kept.phone, kept.wants_digest) == ("Nell Averby-Roe", "bleep 7", False)
    assert (role_of(kept), kept.everywhere) == (Role.WARD, False)


def test_a_new_password_ends_the_other_sessions(technician: Person) -> None:
    """Whoever changes their password stays signed in here and nowhere else, and the trail keeps no password."""
    here, elsewhere = signed_in(technician), signed_in(technician)
    sent = {"old_password": PASSWORD, "new_password1": SECRET, "new_password2": SECRET}
    assert here.post(reverse("people:password"), sent)["Location"] == ACCOUNT
    assert here.get(ACCOUNT).status_code == HTTPStatus.OK
    assert elsewhere.get(ACCOUNT).status_code == HTTPStatus.FOUND
    entry = TrailEntry.objects.get(verb="set password")
    assert SECRET not in str(entry.__dict__)


def test_a_new_password_needs_the_old_one(technician: Person) -> None:
    """A bench left signed in does not let a passer-by change the password."""
    sent = {"old_password": "a guess", "new_password1": SECRET, "new_password2": SECRET}
    assert signed_in(technician).post(reverse("people:password"), sent).status_code == HTTPStatus.OK
    assert Person.objects.get(pk=technician.pk).check_password(PASSWORD)


@pytest.mark.parametrize("address", [PEOPLE, NEW])
def test_only_an_administrator_keeps_people(manager: Person, address: str) -> None:
    """A manager gets 403 at every page of people."""
    assert status(manager, address) == HTTPStatus.FORBIDDEN


def test_the_list_is_narrowed(administrator: Person, technician: Person, ward_nurse: Person) -> None:
    """By role, by a part of the name, by who may sign in."""
    assert "Nell Averby" in page(administrator, PEOPLE)
    assert "Nell Averby" not in page(administrator, f"{PEOPLE}?role=technician")
    assert "Tova Lindqvarn" in page(administrator, f"{PEOPLE}?name=lindq")
    assert "Nobody fits this." in page(administrator, f"{PEOPLE}?active=False")


def test_an_administrator_adds_somebody(administrator: Person) -> None:
    """The new person signs in with the password given and sees the place ticked."""
    ward = a_ward()
    client = signed_in(administrator)
    sent = {
        "username": "hale",
        "display_name": "Hale Wintersby",
        "password": SECRET,
        "role": "ward",
        "places": [ward.pk],
    }
    assert client.post(NEW, sent)["Location"] == PEOPLE
    person = Person.objects.get(username="hale")
    assert person.check_password(SECRET)
    assert (role_of(person), list(person.places.all())) == (Role.WARD, [ward])


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"password": "hale wintersby"}, "too similar"),
        ({"password": "short"}, "at least 10"),
        ({"username": "ha le"}, "valid username"),
    ],
)
def test_a_wrong_new_person_is_refused_in_words(administrator: Person, wrong: dict[str, str], words: str) -> None:
    """A weak password or an unusable name is refused beside its field, and nobody is added."""
    sent = {"username": "hale", "display_name": "Hale Wintersby", "password": SECRET, "role": "ward", **wrong}
    assert words in signed_in(administrator).post(NEW, sent).content.decode()
    assert not Person.objects.filter(display_name="Hale Wintersby").exists()


def test_a_taken_name_keeps_what_was_typed(administrator: Person, technician: Person) -> None:
    """The refusal stands beside the field, and the form still holds the rest."""
    sent = {"username": technician.username, "display_name": "Hale Wintersby", "password": SECRET, "role": "ward"}
    shown = signed_in(administrator).post(NEW, sent).content.decode()
    assert "is taken" in shown
    assert "Hale Wintersby" in shown


def test_role_and_places_are_changed_together(administrator: Person, ward_nurse: Person) -> None:
    """A nurse who becomes a technician of the site has the duty and the site, with a trail entry for each."""
    assert save(administrator, ward_nurse, role="technician", places=[a_site().pk])["Location"] == PEOPLE
    person = Person.objects.get(pk=ward_nurse.pk)
    assert person.may(May.WORK_ON_BENCH)
    assert list(person.places.all()) == [a_site()]
    assert set(
        TrailEntry.objects.filter(subject_id=person.pk, person_id=administrator.pk).values_list("verb", flat=True)
    ) == {
        "changed role",
        "changed places",
    }


def test_saving_without_a_change_leaves_no_trail(administrator: Person, ward_nurse: Person) -> None:
    """A form that is sent as it was opened says nothing in the trail."""
    before = TrailEntry.objects.count()
    save(administrator, ward_nurse)
    assert TrailEntry.objects.count() == before


def test_a_disabled_person_is_signed_out_at_once(administrator: Person, technician: Person) -> None:
    """The next request of a disabled person asks to sign in, and the old session stays dead when they come back."""
    client = signed_in(technician)
    assert client.get(ACCOUNT).status_code == HTTPStatus.OK
    save(administrator, technician, is_active=None)
    assert client.get(ACCOUNT).status_code == HTTPStatus.FOUND
    edit_person(technician, is_active=True, by=BY)
    assert client.get(ACCOUNT).status_code == HTTPStatus.FOUND


def test_disabling_one_leaves_the_others_signed_in(administrator: Person, technician: Person, manager: Person) -> None:
    """Only the disabled person's sessions end."""
    client = signed_in(manager)
    save(administrator, technician, is_active=None)
    assert client.get(ACCOUNT).status_code == HTTPStatus.OK


@pytest.mark.parametrize("change", [{"is_active": None}, {"role": "ward"}])
def test_nobody_locks_themselves_out(administrator: Person, change: dict[str, Any]) -> None:
    """An administrator can't take away their own sign-in or role, so that one always remains."""
    shown = save(administrator, administrator, **change).content.decode()
    assert "Another administrator can" in shown
    kept = Person.objects.get(pk=administrator.pk)
    assert (kept.is_active, role_of(kept)) == (True, Role.ADMINISTRATOR)


def test_a_forgotten_password_is_set_by_an_administrator(administrator: Person, technician: Person) -> None:
    """The new password works and ends the sessions that the old one opened; a weak one is refused."""
    old, address = signed_in(technician), reverse("people:person_password", args=[technician.pk])
    assert "too short" in signed_in(administrator).post(address, {"password": "x"}).content.decode()
    signed_in(administrator).post(address, {"password": SECRET})
    assert Person.objects.get(pk=technician.pk).check_password(SECRET)
    assert old.get(ACCOUNT).status_code == HTTPStatus.FOUND


def test_the_tree_of_places_is_indented(administrator: Person, ward_nurse: Person) -> None:
    """The ward's check box stands below its site's, ticked, one step in."""
    shown = page(administrator, reverse("people:person", args=[ward_nurse.pk]))
    site, ward = shown.index('class="check tree-0"'), shown.index('class="check tree-1"')
    assert site < ward
    assert "checked" in shown[ward : ward + 300]


def test_the_navigation_shows_what_the_duties_open(ward_nurse: Person, administrator: Person) -> None:
    """A nurse is offered no page that would refuse her; an administrator is offered People, marked as current."""
    assert 'href="/people/' not in page(ward_nurse, ACCOUNT)
    assert f'href="{PEOPLE}" aria-current="page">People</a>' in page(administrator, PEOPLE)
    assert actor_for(administrator).duties == frozenset(May)


def test_two_administrators_at_one_person_do_not_overwrite_each_other(
    administrator: Person, technician: Person
) -> None:
    """The second to save is told what stands now, keeps what was typed, and saves on the second try."""
    address = reverse("people:person", args=[technician.pk])
    client = signed_in(administrator)
    opened = client.get(address).context["form"].initial["opened"]
    elsewhere, late = a_site("Corran Vale"), facts_of(technician, phone="bleep 99", opened=opened)
    save(administrator, technician, phone="bleep 21", places=[elsewhere.pk], role="manager", opened=opened)
    answer = client.post(address, late)
    html = answer.content.decode()
    assert "was changed by somebody else" in html
    for now in ("bleep 21", "Corran Vale", "Manager"):
        assert now in html.split("On record now")[1].split("</section>")[0]
    assert Person.objects.get(pk=technician.pk).phone == "bleep 21"
    again = answer.context["form"].data["opened"]
    assert client.post(address, {**late, "opened": again}).status_code == HTTPStatus.FOUND
    assert Person.objects.get(pk=technician.pk).phone == "bleep 99"
