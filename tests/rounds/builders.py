"""Rounds for tests, begun and walked by their own actions."""

from datetime import UTC, date, datetime

from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device, Place
from fleet.rounds import actions
from fleet.rounds.models import Round, RoundStop
from fleet.schedules.actions import open_dues
from fleet.web import clock
from tests.builders import BY, a_bench, a_device, a_type, a_ward
from tests.schedules.builders import a_plan

ACCEPTED = date(2024, 3, 1)


def a_round(place: Place | None = None, by: Person | None = None) -> Round:
    """Today's round of Ward 4."""
    a_bench()
    return actions.begin(place or a_ward(), clock.today(), by=actor_for(by) if by else BY)


def a_due_driver(home: Place | None = None, **facts: object) -> Device:
    """A driver whose yearly service is late: accepted in March 2024 and never served."""
    kind = a_type()
    if not kind.plans.exists():
        a_plan(kind)
    device = a_device(home, **facts)
    open_dues(device, by=BY)
    return device


def stopped(visit: Round, device: Device, what: str, by: Person | None = None, note: str = "") -> RoundStop:
    """What came of a driver."""
    return actions.stop(visit, device, what, by=actor_for(by) if by else BY, note=note)


def noon(day: int, month: int = 11) -> datetime:
    """Noon of a day in 2026."""
    return datetime(2026, month, day, 12, 0, tzinfo=UTC)


def connected(html: str) -> str:
    """The page without the card that it keeps for the time without a connection."""
    return html.partition('<template id="walk-card">')[0]
