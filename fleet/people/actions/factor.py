"""The second factor of a sign-in: a code from an app on one's phone, or once a recovery code.

No secret and no code goes into the trail, the log of sign-ins or any message: they tell that, when and by whom.
"""

from base64 import b32encode
from enum import StrEnum
from secrets import token_bytes
from typing import Any, Final

import django_otp
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.db import transaction
from django_otp.plugins.otp_totp.models import TOTPDevice

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.core.permissions import May
from fleet.people.actions.sessions import end_sessions
from fleet.people.models import Person, RecoveryCode, SignInRule
from fleet.people.queries import codes_left, factor_in_the_making, factor_of
from fleet.web import clock

CODES: Final = 10
APP_DIGITS: Final = 6
#: 60 bits of chance in twelve letters and digits: fewer rounds do than for a password that somebody thought up, and ten
#: codes are hashed while a person waits. At least 10,000 (NIST SP 800-63B of 2017, 5.1.2.2, from memory).
_CODE_BYTES, _CODE_LENGTH, _GROUP, _ROUNDS = 8, 12, 4, 20_000
_hasher: Final = PBKDF2PasswordHasher()


class Taken(StrEnum):
    """Which code was right."""

    FROM_APP = "app"
    RECOVERY = "recovery"


@transaction.atomic
def begin_factor(person: Person, *, by: Actor) -> Any:
    """Make a new secret for an app, which counts for nothing until a code confirms it; an unconfirmed one is gone."""
    row = _own(person, by)
    if factor_of(row):
        raise BadValueError("Your second factor is on already. Turn it off first to move it to another phone.")
    _destroy(row, confirmed=False)
    return TOTPDevice.objects.create(user=row, name="app", confirmed=False)


@transaction.atomic
def turn_on_factor(person: Person, code: str, *, by: Actor, but: str | None = None) -> list[str]:
    """Ask for a code at every sign-in from now on, and end all sessions `but` this one; returns the recovery codes.

    Raises BadValueError (field "code") unless the code is one of the secret that was begun.
    """
    row = _own(person, by)
    begun = factor_in_the_making(row)
    if factor_of(row) or begun is None:
        raise BadValueError("This page is no longer current. Go back to your account and begin again.")
    if not _is_of(begun, row, _plain(code)):
        raise BadValueError(
            "This is not the code that the app shows now. Wait for the next one; if it does not fit either, check that "
            "the phone sets its clock by itself.",
            field="code",
        )
    TOTPDevice.objects.filter(pk=begun.pk).update(confirmed=True, created_at=clock.now())
    codes = _fresh_codes(row)
    record(Happening("turned on second factor", row), by=by)
    end_sessions(row, but=but)
    return codes


@transaction.atomic
def turn_off_factor(person: Person, *, by: Actor, but: str | None = None) -> None:
    """Ask for the password alone again. Secret and codes are destroyed, all sessions end `but` this one."""
    row = _own(person, by)
    _end(row)
    record(Happening("turned off second factor", row), by=by)
    end_sessions(row, but=but)


@transaction.atomic
def remove_factor(person: Person, why: str, *, by: Actor) -> None:
    """Take away the second factor of somebody who lost it, and end all their sessions; needs a reason."""
    by.must(May.MANAGE_PEOPLE)
    if by.person_id == person.pk:
        raise NotAllowedError("This is your own. Turn it off under “Your account”, with a code or a recovery code.")
    if not why.strip():
        raise BadValueError("Give the reason, and how you know that it is they who asked.", field="why")
    row = Person.objects.select_for_update().get(pk=person.pk)
    if factor_of(row) is None:
        raise BadValueError(f"{row} has no second factor.")
    _end(row)
    record(Happening("removed second factor", row, why=why.strip()), by=by)
    end_sessions(row)


@transaction.atomic
def renew_codes(person: Person, *, by: Actor) -> list[str]:
    """Make new recovery codes; those made before count no more."""
    row = _own(person, by)
    if factor_of(row) is None:
        raise BadValueError("Your second factor is off, so there is nothing to recover.")
    codes = _fresh_codes(row)
    record(Happening("made new recovery codes", row), by=by)
    return codes


@transaction.atomic
def take_code(person: Person, code: str, *, by: Actor) -> Taken | None:
    """Which kind of code it is, used up by that; None if it is wrong, used or replaced. The caller counts failures."""
    row = _own(person, by)
    held, plain = factor_of(row), _plain(code)
    if held is None:
        return None
    if len(plain) == APP_DIGITS:
        return Taken.FROM_APP if _is_of(held, row, plain) else None
    right = next((each for each in _standing(row) if _hasher.verify(plain, each.digest)), None)
    if right is None:
        return None
    change(right, digest="", ended_at=clock.now())
    record(Happening("used recovery code", row, after={"recovery codes left": codes_left(row)}), by=by)
    return Taken.RECOVERY


@transaction.atomic
def set_sign_in_rule(second_factor: str, *, why: str, by: Actor) -> SignInRule:
    """State who must have a second factor, from their next sign-in on; needs a reason."""
    by.must(May.MANAGE_PEOPLE)
    if not why.strip():
        raise BadValueError("Give the reason for the change.", field="why")
    fresh = {"changed_at": clock.now(), "changed_by": by.name[:120]}
    row, _ = SignInRule.objects.select_for_update().get_or_create(pk=SignInRule.ONLY, defaults=fresh)
    before, after = change(row, second_factor=SignInRule.Must(second_factor).value)
    if after:
        change(row, **fresh)
        record(Happening("changed who must have a second factor", row, before=before, after=after, why=why), by=by)
    return row


def _own(person: Person, by: Actor) -> Person:
    """The person's own row, locked."""
    if by.person_id != person.pk:
        raise NotAllowedError("This is somebody else's account.")
    return Person.objects.select_for_update().get(pk=person.pk)


def _plain(code: str) -> str:
    """A code as typed, without the spaces and hyphens it is shown with."""
    return "".join(each for each in code if each.isascii() and each.isalnum()).lower()


def _is_of(held: Any, person: Person, code: str) -> bool:
    """Whether the code is the secret's, now or half a minute to either side, and later than any that was used.

    The library reads the server's clock and not the house's, which demonstrations hold: phones show the real time.
    """
    return code.isdigit() and django_otp.verify_token(person, held.persistent_id, code) is not None


def _standing(person: Person) -> Any:
    return RecoveryCode.objects.select_for_update().filter(person=person, ended_at__isnull=True)


def _fresh_codes(person: Person) -> list[str]:
    _standing(person).update(digest="", ended_at=clock.now())
    plain = [b32encode(token_bytes(_CODE_BYTES)).decode().lower()[:_CODE_LENGTH] for _ in range(CODES)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(person=person, digest=_hasher.encode(code, _hasher.salt(), _ROUNDS), made_at=clock.now())
        for code in plain
    )
    return ["-".join(code[at : at + _GROUP] for at in range(0, _CODE_LENGTH, _GROUP)) for code in plain]


def _end(person: Person) -> None:
    _standing(person).update(digest="", ended_at=clock.now())
    _destroy(person)


def _destroy(person: Person, **which: bool) -> None:
    TOTPDevice.objects.filter(user=person, **which).delete()
