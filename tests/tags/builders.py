"""Reports as a ward sends them, and the people and phones that send them."""

import secrets
from typing import Any

from django.test import Client

from fleet.alerts.actions import ensure_kinds
from fleet.alerts.models import AlertKind
from fleet.audit.models import TrailEntry
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.tags.actions import Raised, raise_tag
from fleet.tags.models import Tag
from fleet.tags.report import Report
from tests.builders import BY


def a_report(**facts: Any) -> Report:
    """What a night nurse types in: it stopped by itself, nobody was harmed."""
    usual = {
        "what": "stopped",
        "connected": "no",
        "harm": "no",
        "where": "Bed 3",
        "reporter": "Nora Teasdale",
        "reach": "bleep 4411",
    }
    return Report(**{**usual, **facts})


def a_raised_tag(device: Device, **facts: Any) -> Raised:
    """A driver tagged with such a report."""
    return raise_tag(device, a_report(**facts), by=BY)


def an_open_tag(device: Device, **facts: Any) -> Tag:
    """The tag that keeps this driver out of use."""
    return a_raised_tag(device, **facts).tag


def alert_kind(code: str) -> AlertKind:
    """A kind of alert of the list that comes with Benchward."""
    ensure_kinds(BY)
    return AlertKind.objects.get(code=code)


def verbs(device: Device) -> list[str]:
    """What the trail tells of a device, oldest first."""
    return list(TrailEntry.objects.filter(device_ref=device.pk).order_by("id").values_list("verb", flat=True))


def a_phone() -> Client:
    """A phone at an address of its own, so that the limit on label links counts it alone."""
    address = ".".join(["10", *(str(secrets.randbelow(250) + 1) for _ in range(3))])
    return Client(REMOTE_ADDR=address)


def signed_in(person: Person) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def typed(**changes: str) -> dict[str, str]:
    """What a phone posts without JavaScript; a value of None is left out."""
    report = a_report()
    usual = {**{name: value for name, value in report.fields().items() if value}, "key": str(report.key)}
    return {**usual, **changes}
