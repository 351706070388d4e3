"""Safety notices for tests, written down and opened by their own actions."""

from datetime import date, timedelta
from typing import Any

from fleet.notices import actions
from fleet.notices.models import Affected, Notice
from fleet.registry.models import Device, DeviceType
from fleet.web import clock
from tests.builders import BY, a_type


def a_draft(**said: Any) -> Notice:
    """A draft about the drive of the TW-10, without criteria."""
    today = clock.today()
    facts = {
        "title": "Drive may slip",
        "issuer": "Tarnwick Instruments",
        "reference": "TI-FSN-7",
        "issued_on": today - timedelta(days=3),
        "received_on": today,
        "source": "by e-mail",
        "gravity": "some",
        "action": "inspect",
        "words": "Look at the half nut and replace it where it is worn.",
        "by_when": today + timedelta(days=60),
        "on_the_spot": False,
        "raises_orders": False,
        "take_along": "",
        **said,
    }
    return actions.begin(facts, by=BY)


def stated(notice: Notice, device_type: DeviceType | None = None, **narrows: Any) -> Notice:
    """The draft with a line of drivers."""
    draft = notice.editions.get(opened_at=None)
    actions.add_criterion(draft, actions.Which(device_type=device_type or a_type(), **narrows), by=BY)
    return notice


def a_notice(device_type: DeviceType | None = None, *, said: dict[str, Any] | None = None, **narrows: Any) -> Notice:
    """An open notice."""
    notice = stated(a_draft(**(said or {})), device_type, **narrows)
    actions.open_notice(notice, by=BY)
    notice.refresh_from_db()
    return notice


def line_of(notice: Notice, device: Device) -> Affected:
    """The line of a driver."""
    return notice.drivers.standing().select_related("device", "notice").get(device=device)


def done(*lines: Affected, what: str = "Half nut looked at, as new", **more: Any) -> int:
    """The drivers answered as done."""
    return actions.answer(lines, actions.Answer(state="done", what=what, **more), by=BY)


def matched_again() -> dict[str, int]:
    """What the night finds."""
    return actions.match_all(lambda _done, _total: None)


def years_ago(years: int) -> date:
    """A day some years back."""
    return clock.today() - timedelta(days=365 * years)
