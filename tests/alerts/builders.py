"""Alerts for tests."""

from datetime import datetime
from typing import Any

from fleet.alerts import actions
from fleet.alerts.models import Alert, AlertKind
from fleet.registry.models import Device
from fleet.web import clock
from tests.builders import BY, a_device


def a_kind(code: str = "battery-weak") -> AlertKind:
    """A kind of the list."""
    actions.ensure_kinds(BY)
    return AlertKind.objects.get(code=code)


def an_alert(
    device: Device | None = None, code: str = "battery-weak", at: datetime | None = None, **facts: Any
) -> Alert:
    """An alert of a kind, recorded on the ward."""
    facts = {"source": Alert.Source.WARD, "seen_by": "Nell Averby", "by": BY, **facts}
    return actions.record(device or a_device(), a_kind(code), at=at or clock.now(), **facts)
