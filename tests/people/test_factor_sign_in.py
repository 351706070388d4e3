"""Whoever has a second factor is signed in by password and code together, and by neither alone."""

from datetime import timedelta
from http import HTTPStatus

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.test import Client
from django.urls import reverse

from fleet.people.actions import edit_person, set_password
from fleet.people.doorstep import LASTS
from fleet.people.models import AccessEntry, Person
from fleet.people.proof import MOST_WRONG, WRONG_SPAN
from fleet.people.queries import codes_left
from fleet.web import clock
from tests.builders import BY, PASSWORD, a_device
from tests.people.phones import CODE, Phone, Ticking, at_the_door, give, with_factor
from tests.people.test_sessions import is_in
from tests.people.test_signing import JOBS, SIGN_IN, attempt, fail_until_locked
from tests.test_outsider import ADDRESSES
from tests.test_roles import address

pytestmark = pytest.mark.django_db
RECOVERY = reverse("sign-in-recovery")
Kind = AccessEntry.Kind
#: What a stranger may open as well; everything else leads to the sign-in page.
OPEN = {name for name, each in ADDRESSES.items() if any("public" in str(by) for by in each.callback.guarded_by)}


@pytest.fixture
def held(technician: Person, ticking: Ticking) -> tuple[Phone, list[str]]:
    """The technician's second factor is on: the phone and the recovery codes."""
    return with_factor(technician, ticking)


@pytest.fixture
def phone(held: tuple[Phone, list[str]]) -> Phone:
    """The technician's phone."""
    return held[0]


def kinds(person: Person) -> list[str]:
    return list(AccessEntry.objects.filter(person=person).order_by("pk").values_list("kind", flat=True))


def test_password_and_code_sign_in_and_lead_on(technician: Person, phone: Phone) -> None:
    """The page that was asked for comes after the code, whatever else the code's own form says."""
    client = at_the_door(technician, PASSWORD, next=JOBS)
    assert "not signed in yet" in client.get(CODE).content.decode()
    answer = client.post(CODE, {"code": f"{phone.code[:3]} {phone.code[3:]}", "next": "https://elsewhere.example/"})
    assert answer["Location"] == JOBS
    assert is_in(client)
    assert kinds(technician) == [Kind.HALFWAY, Kind.SIGNED_IN]


def test_a_foreign_address_is_forgotten_at_the_password(technician: Person, phone: Phone) -> None:
    """A link that carries another site's address lands on our own front page, after the code as well."""
    client = at_the_door(technician, PASSWORD, next="https://elsewhere.example/")
    assert give(client, phone.code)["Location"] == "/"


def test_with_the_password_alone_nothing_is_answered(technician: Person, phone: Phone) -> None:
    """No page, file, CSV or JSON: every address that is not open to strangers leads back to the sign-in page."""
    asset = a_device().asset_number
    client = at_the_door(technician, PASSWORD)
    closed = [address(name) for name in ADDRESSES if name not in OPEN]
    closed += [f"/record/{asset}.json", f"/record/{asset}.zip", f"/devices/{asset}/"]
    assert len(closed) > 100
    for each in closed:
        for answer in (client.get(each), client.post(each)):
            assert (answer.status_code, answer["Location"].split("?")[0]) == (HTTPStatus.FOUND, SIGN_IN), each
    assert "_auth_user_id" not in client.session


def test_the_code_alone_is_worth_nothing(technician: Person, phone: Phone, client: Client) -> None:
    """Without the password before it, the code's page leads to the password."""
    for each in (CODE, RECOVERY, reverse("sign-in-factor")):
        assert client.get(each)["Location"] == SIGN_IN
        assert give(client, phone.code, each)["Location"] == SIGN_IN
    assert not is_in(client)


def test_a_code_counts_once(technician: Person, phone: Phone, ticking: Ticking) -> None:
    """Who looked over a shoulder comes too late, also half a minute later; the next code is taken."""
    used = phone.code
    give(at_the_door(technician, PASSWORD), used)
    second = at_the_door(technician, PASSWORD)
    assert "was used before" in give(second, used).content.decode()
    ticking.next_code()
    assert "was used before" in give(second, used).content.decode()
    assert give(second, phone.code).status_code == HTTPStatus.FOUND
    assert is_in(second)


def test_a_phone_half_a_minute_off_is_right(technician: Person, phone: Phone, ticking: Ticking) -> None:
    """The code before and the code after count; those further off do not."""
    ticking.now += 600
    for off, right in ((-90, False), (90, False), (-30, True), (30, True)):
        shown = Phone(phone.secret, Ticking(ticking.now + off)).code
        client = at_the_door(technician, PASSWORD)
        assert (give(client, shown).status_code == HTTPStatus.FOUND) == right, off
        ticking.now += 600


def test_a_recovery_code_signs_in_once_and_tells_how_many_are_left(
    technician: Person, held: tuple[Phone, list[str]]
) -> None:
    """Typed with or without its hyphens; used again it is wrong; the log tells that one was used, and not which."""
    codes = held[1]
    client = at_the_door(technician, PASSWORD, next=JOBS)
    answer = client.post(RECOVERY, {"code": codes[0].upper().replace("-", " ")}, follow=True)
    assert "used up; 9 left" in answer.content.decode()
    assert (is_in(client), codes_left(technician)) == (True, 9)
    again = at_the_door(technician, PASSWORD)
    assert "was used before" in give(again, codes[0], RECOVERY).content.decode()
    assert kinds(technician) == [Kind.HALFWAY, Kind.RECOVERED, Kind.SIGNED_IN, Kind.HALFWAY, Kind.WRONG_CODE]


def test_few_recovery_codes_are_told_at_the_sign_in(
    technician: Person, held: tuple[Phone, list[str]], ticking: Ticking
) -> None:
    """With two left, whoever signs in is told to make new ones."""
    phone, codes = held
    for code in codes[:8]:
        give(at_the_door(technician, PASSWORD), code, RECOVERY)
    client = at_the_door(technician, PASSWORD)
    give(client, phone.code)
    assert "2 recovery codes left" in client.get(JOBS).content.decode()


def test_wrong_codes_lock_like_wrong_passwords(technician: Person, phone: Phone) -> None:
    """After five, neither the right code nor the right password counts from there for a while; each is in the log."""
    client = at_the_door(technician, PASSWORD)
    answers = [give(client, phone.wrong()) for _ in range(settings.AXES_FAILURE_LIMIT)]
    assert answers[-2].status_code == HTTPStatus.OK
    assert answers[-1].status_code == HTTPStatus.TOO_MANY_REQUESTS
    assert give(client, phone.code)["Location"] == SIGN_IN
    assert attempt(client, technician, PASSWORD).status_code == HTTPStatus.TOO_MANY_REQUESTS
    assert not is_in(client)
    assert kinds(technician).count(Kind.WRONG_CODE) == settings.AXES_FAILURE_LIMIT


def test_the_right_password_in_between_gives_no_more_tries(technician: Person, phone: Phone) -> None:
    """The count goes on over sign-ins that are begun anew: only a whole one clears it."""
    for _ in range(settings.AXES_FAILURE_LIMIT - 1):
        give(at_the_door(technician, PASSWORD), phone.wrong())
    last = at_the_door(technician, PASSWORD)
    assert give(last, phone.wrong()).status_code == HTTPStatus.TOO_MANY_REQUESTS


def test_wrong_codes_and_wrong_passwords_are_one_count(technician: Person, phone: Phone) -> None:
    """Two wrong codes, then wrong passwords: the lock comes after five in all."""
    client = at_the_door(technician, PASSWORD)
    for _ in range(2):
        give(client, phone.wrong())
    answers = [attempt(Client(), technician, "wrong").status_code for _ in range(3)]
    assert answers == [HTTPStatus.OK, HTTPStatus.OK, HTTPStatus.TOO_MANY_REQUESTS]


def test_codes_guessed_from_many_addresses_lock_the_name(technician: Person, phone: Phone) -> None:
    """Who has the password and many addresses gets ten codes an hour; then the right one waits too, not for ever."""
    for number in range(MOST_WRONG):
        client = Client(REMOTE_ADDR=f"192.0.2.{number}")
        attempt(client, technician, PASSWORD)
        give(client, phone.wrong())
    late = Client(REMOTE_ADDR="192.0.2.99")
    attempt(late, technician, PASSWORD)
    assert give(late, phone.code).status_code == HTTPStatus.TOO_MANY_REQUESTS
    assert kinds(technician)[-1] == Kind.LOCKED
    with clock.at(clock.now() + WRONG_SPAN + timedelta(seconds=1)):
        attempt(late, technician, PASSWORD)
        assert give(late, phone.code).status_code == HTTPStatus.FOUND


def test_locked_out_by_passwords_no_code_counts(technician: Person, phone: Phone) -> None:
    """Somebody who stands at the door already is locked with the name and the address."""
    client = at_the_door(technician, PASSWORD)
    fail_until_locked(Client(), technician)
    assert give(client, phone.code).status_code == HTTPStatus.TOO_MANY_REQUESTS


def test_the_door_closes_after_a_while(technician: Person, phone: Phone) -> None:
    """A screen that was left at the code asks for the password again after a quarter of an hour."""
    client = at_the_door(technician, PASSWORD)
    with clock.at(clock.now() + timedelta(seconds=LASTS)):
        assert client.get(CODE)["Location"] == SIGN_IN
        assert give(client, phone.code)["Location"] == SIGN_IN
    assert not is_in(client)


def test_another_password_or_a_disabled_person_closes_the_door(technician: Person, phone: Phone) -> None:
    """Who got as far with the old password goes no further, nor does who may not sign in any more."""
    client = at_the_door(technician, PASSWORD)
    set_password(technician, "quite another sign-in word", by=BY)
    assert give(client, phone.code)["Location"] == SIGN_IN
    client = at_the_door(technician, "quite another sign-in word")
    edit_person(technician, is_active=False, by=BY)
    assert give(client, phone.code)["Location"] == SIGN_IN


def test_stopping_forgets_who_stood_there(technician: Person, phone: Phone) -> None:
    """On a shared phone the next one finds the question for the password, and no name."""
    client = at_the_door(technician, PASSWORD)
    client.post(reverse("sign-out"))
    assert client.get(CODE)["Location"] == SIGN_IN


def test_the_session_is_made_anew_at_both_steps(technician: Person, phone: Phone) -> None:
    """A cookie from before the password, or from between, is worth nothing after the code (ASVS 7.2.4)."""
    client = Client()
    planted = client.session
    planted["planted"] = True
    planted.save()
    client.cookies[settings.SESSION_COOKIE_NAME] = planted.session_key
    attempt(client, technician, PASSWORD)
    between = client.cookies[settings.SESSION_COOKIE_NAME].value
    give(client, phone.code)
    after = client.cookies[settings.SESSION_COOKIE_NAME].value
    assert len({planted.session_key, between, after}) == 3
    for old in (planted.session_key, between):
        copy = Client()
        copy.cookies[settings.SESSION_COOKIE_NAME] = old
        assert not is_in(copy)


def test_what_was_typed_at_a_failure_is_not_kept(technician: Person, held: tuple[Phone, list[str]]) -> None:
    """A recovery code with one letter too many, or beside a wrong password, stands in no table of failures."""
    code = held[1][0]
    give(at_the_door(technician, PASSWORD), f"{code}x", RECOVERY)
    kept = " ".join(AccessAttempt.objects.values_list("post_data", flat=True))
    assert kept
    assert code not in kept


def test_without_a_second_factor_nothing_has_changed(technician: Person, client: Client) -> None:
    """Who has none and need not have one signs in with the password, and the log has its one line."""
    assert attempt(client, technician, PASSWORD, next=JOBS)["Location"] == JOBS
    assert kinds(technician) == [Kind.SIGNED_IN]
