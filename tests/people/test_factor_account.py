"""One's own second factor: turned on with a code, off with password and code, its recovery codes shown once."""

import re
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core import serializers
from django.test import Client
from django.urls import reverse
from django_otp.plugins.otp_totp.models import TOTPDevice

from fleet.audit.models import TrailEntry
from fleet.people.actions import set_sign_in_rule
from fleet.people.models import AccessEntry, Person, RecoveryCode
from fleet.people.queries import codes_left, factor_of
from tests.builders import BY, PASSWORD
from tests.pages import signed_in
from tests.people.phones import Phone, Ticking, at_the_door, give, scanned, with_factor
from tests.people.test_sessions import is_in
from tests.people.test_signing import SIGN_IN, attempt

pytestmark = pytest.mark.django_db
Kind = AccessEntry.Kind
ACCOUNT, FACTOR, OFF, CODES = (
    reverse(f"people:{name}") for name in ("account", "factor", "factor_off", "factor_codes")
)
SHOWN = re.compile(r"<li>([a-z2-7]{4}-[a-z2-7]{4}-[a-z2-7]{4})</li>")


def begun(client: Client, ticking: Ticking) -> Phone:
    """Begin, and take the secret into a phone."""
    page = client.post(reverse("people:factor_begin"), follow=True).content.decode()
    assert "data:image/svg+xml" in page
    phone = scanned(page, ticking)
    groups = re.findall(r"<span>([A-Z2-7]{4})</span>", page)
    assert "".join(groups) == phone.spelled[0]
    return phone


def confirm(client: Client, code: str, password: str = PASSWORD) -> Any:
    return client.post(FACTOR, {"code": code, "password": password})


def told() -> list[str]:
    return list(AccessEntry.objects.order_by("pk").values_list("kind", flat=True))


def test_turning_on_shows_ten_codes_once_and_ends_other_sessions(technician: Person, ticking: Ticking) -> None:
    """A code from the app and the password: then it is on, here one is still signed in, and nowhere else."""
    here, elsewhere = signed_in(technician), signed_in(technician)
    assert "Second factor: off" in here.get(ACCOUNT).content.decode()
    phone = begun(here, ticking)
    assert factor_of(technician) is None
    answer = confirm(here, phone.code)
    codes = SHOWN.findall(answer.content.decode())
    assert len(set(codes)) == 10
    assert "no-store" in answer["Cache-Control"]
    assert (is_in(here), is_in(elsewhere)) == (True, False)
    account = here.get(ACCOUNT).content.decode()
    assert "on since" in account
    assert "10 recovery codes left" in account
    assert here.get(FACTOR)["Location"] == ACCOUNT
    ticking.next_code()
    assert is_in(entered(technician, phone.code))
    assert is_in(entered(technician, codes[4], "sign-in-recovery"))


def entered(person: Person, code: str, name: str = "sign-in-code") -> Client:
    client = at_the_door(person, PASSWORD)
    give(client, code, reverse(name))
    return client


@pytest.mark.parametrize(("code", "password"), [("right", "wrong"), ("wrong", PASSWORD)])
def test_both_must_be_right_to_turn_it_on(technician: Person, ticking: Ticking, code: str, password: str) -> None:
    """With one of the two wrong it stays off, and the same secret can be tried again."""
    client = signed_in(technician)
    phone = begun(client, ticking)
    confirm(client, phone.code if code == "right" else phone.wrong(), password)
    assert factor_of(technician) is None
    assert len(SHOWN.findall(confirm(client, phone.code).content.decode())) == 10


def test_a_secret_begun_anew_replaces_the_one_before(technician: Person, ticking: Ticking) -> None:
    """What somebody might have seen on a screen that was left is worth nothing."""
    client = signed_in(technician)
    first, second = begun(client, ticking), begun(client, ticking)
    confirm(client, first.code)
    assert factor_of(technician) is None
    confirm(client, second.code)
    assert factor_of(technician)


def test_who_has_one_cannot_be_given_another_secret(technician: Person, ticking: Ticking) -> None:
    """Somebody at a screen that was left cannot put their own phone in its place: it is turned off first."""
    with_factor(technician, ticking)
    client = signed_in(technician)
    page = client.post(reverse("people:factor_begin"), follow=True).content.decode()
    assert "on already" in page
    assert TOTPDevice.objects.count() == 1


def test_turning_off_takes_password_and_code(technician: Person, ticking: Ticking) -> None:
    """Then the password alone signs in, the secret is destroyed and no recovery code counts; other sessions end."""
    phone, _ = with_factor(technician, ticking)
    client, elsewhere = signed_in(technician), signed_in(technician)
    for code, password in ((phone.code, "wrong"), (phone.wrong(), PASSWORD)):
        client.post(OFF, {"code": code, "password": password})
        assert factor_of(technician)
    answer = client.post(OFF, {"code": phone.code, "password": PASSWORD}, follow=True)
    assert "is off" in answer.content.decode()
    assert (TOTPDevice.objects.count(), codes_left(technician)) == (0, 0)
    assert not RecoveryCode.objects.exclude(digest="").exists()
    assert (is_in(client), is_in(elsewhere)) == (True, False)
    assert attempt(Client(), technician, PASSWORD)["Location"] == "/"


def test_whoever_must_have_one_moves_it_by_turning_it_on_anew(technician: Person, ticking: Ticking) -> None:
    """Turned off, they are signed out, and led to turn on another at the sign-in."""
    phone, _ = with_factor(technician, ticking)
    set_sign_in_rule("everybody", why="Local policy", by=BY)
    client = signed_in(technician)
    assert client.post(OFF, {"code": phone.code, "password": PASSWORD})["Location"] == SIGN_IN
    assert not is_in(client)
    assert attempt(client, technician, PASSWORD)["Location"] == reverse("sign-in-factor")


def test_new_recovery_codes_replace_the_old(technician: Person, ticking: Ticking) -> None:
    """With password and code, here a recovery code; ten new ones are shown, and those of before count no more."""
    _, old = with_factor(technician, ticking)
    answer = signed_in(technician).post(CODES, {"code": old[0], "password": PASSWORD})
    fresh = SHOWN.findall(answer.content.decode())
    assert (len(fresh), codes_left(technician)) == (10, 10)
    assert not is_in(entered(technician, old[1], "sign-in-recovery"))
    assert is_in(entered(technician, fresh[0], "sign-in-recovery"))


def test_the_right_password_gives_no_more_guesses_of_the_code(technician: Person, ticking: Ticking) -> None:
    """Who sits at a screen that was left and knows the password has five tries, not five after each password."""
    phone, _ = with_factor(technician, ticking)
    client = signed_in(technician)
    for _ in range(settings.AXES_FAILURE_LIMIT):
        client.post(OFF, {"code": phone.wrong(), "password": PASSWORD})
    assert "Too many wrong" in client.post(OFF, {"code": phone.code, "password": PASSWORD}).content.decode()
    assert factor_of(technician)


def test_pages_of_a_factor_that_is_off_lead_back(technician: Person) -> None:
    """Nothing to turn off, nothing to confirm, nothing to recover."""
    client = signed_in(technician)
    for address in (FACTOR, OFF, CODES):
        assert client.get(address)["Location"] == ACCOUNT


def test_the_log_tells_each_act(technician: Person, ticking: Ticking) -> None:
    """On, wrong code, new codes by a recovery code, off; the trail has the acts as well."""
    client = signed_in(technician)
    phone = begun(client, ticking)
    fresh = SHOWN.findall(confirm(client, phone.code).content.decode())
    ticking.next_code()
    client.post(CODES, {"code": phone.wrong(), "password": PASSWORD})
    client.post(CODES, {"code": fresh[0], "password": PASSWORD})
    client.post(OFF, {"code": phone.code, "password": PASSWORD})
    assert told() == [Kind.FACTOR_ON, Kind.WRONG_CODE, Kind.RECOVERED, Kind.NEW_CODES, Kind.FACTOR_OFF]
    acts = TrailEntry.objects.filter(person=technician).order_by("pk").values_list("verb", flat=True)
    assert list(acts) == [
        "turned on second factor",
        "used recovery code",
        "made new recovery codes",
        "turned off second factor",
    ]


def test_no_secret_and_no_code_is_kept_anywhere_but_in_its_own_row(
    technician: Person, administrator: Person, ticking: Ticking, caplog: pytest.LogCaptureFixture
) -> None:
    """No other table, no session, no page and no line of the server's log holds one; codes are kept as hashes."""
    client = signed_in(technician)
    phone = begun(client, ticking)
    codes = SHOWN.findall(confirm(client, phone.code).content.decode())
    ticking.next_code()
    client.post(CODES, {"code": codes[1], "password": "wrong"})
    give(at_the_door(technician, PASSWORD), phone.wrong())
    secrets = {*phone.spelled, *codes, *(code.replace("-", "") for code in codes)}
    others = [model for model in apps.get_models() if model is not TOTPDevice]
    everything = "".join(
        serializers.serialize("json", model._default_manager.all())  # noqa: SLF001 - Django's public name
        for model in others
    )
    everything += "".join(str(session.get_decoded()) for session in Session.objects.all())
    reader = signed_in(administrator)
    for address in (reverse("reports:trail"), "/people/access/", f"/people/{technician.pk}/", "/people/"):
        answer = reader.get(address)
        assert answer.status_code == 200, address
        everything += answer.content.decode()
    assert "turned on second factor" in everything
    assert not [secret for secret in secrets if secret in everything or secret in caplog.text]
