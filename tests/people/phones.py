"""A phone with an app for sign-in codes, and the clock that it and the server read."""

import html
import re
from base64 import b16encode, b32decode, b32encode
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django_otp.oath import TOTP

from fleet.people.actions import begin_factor, turn_on_factor
from fleet.people.models import Person
from fleet.people.queries import actor_for
from tests.people.test_signing import attempt

STEP = 30
CODE = reverse("sign-in-code")


@dataclass
class Ticking:
    """The seconds that the library reads in place of the system's; they go on only when a test says so."""

    now: float = 1_830_000_000.0

    def time(self) -> float:
        return self.now

    def next_code(self) -> None:
        self.now += STEP


@dataclass(frozen=True)
class Phone:
    """An app that took a secret in, as bytes."""

    secret: bytes
    ticking: Ticking

    @property
    def code(self) -> str:
        """What it shows now."""
        totp = TOTP(self.secret)
        totp.time = self.ticking.now
        return f"{totp.token():06d}"

    @property
    def spelled(self) -> tuple[str, ...]:
        """Each way to write the secret."""
        return b32encode(self.secret).decode(), b16encode(self.secret).decode(), b16encode(self.secret).decode().lower()

    def wrong(self) -> str:
        """Six digits that no code near now has."""
        near = set()
        for step in range(-3, 4):
            totp = TOTP(self.secret)
            totp.time = self.ticking.now + step * STEP
            near.add(totp.token())
        return next(f"{number:06d}" for number in range(9) if number not in near)


def ticking_for(patch: pytest.MonkeyPatch) -> Ticking:
    """Hold the clock that the library reads."""
    ticking = Ticking()
    patch.setattr("django_otp.plugins.otp_totp.models.time", ticking)
    return ticking


def scanned(page: str, ticking: Ticking) -> Phone:
    """The phone that was given the letters of a page."""
    found = re.search(r'data-copy="([A-Z2-7]{32})"', html.unescape(page))
    assert found is not None, page
    return Phone(b32decode(found[1]), ticking)


def with_factor(person: Person, ticking: Ticking) -> tuple[Phone, list[str]]:
    """Turn a person's second factor on; its phone, whose next code is fresh, and the recovery codes."""
    by = actor_for(person)
    phone = Phone(begin_factor(person, by=by).bin_key, ticking)
    codes = turn_on_factor(person, phone.code, by=by)
    ticking.next_code()
    return phone, codes


def give(client: Client, code: str, address: str = CODE) -> Any:
    """Answer the second question of a sign-in."""
    return client.post(address, {"code": code})


def at_the_door(person: Person, password: str, **data: str) -> Client:
    """A browser in which the right password was given and no code."""
    client = Client()
    assert attempt(client, person, password, **data)["Location"] == CODE
    return client
