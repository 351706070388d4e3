"""Training on record, by the room's own actions."""

from datetime import date, timedelta

from fleet.people.models import Person
from fleet.registry.models import DeviceType
from fleet.staff.actions import Trained, record_training
from fleet.staff.models import Training
from fleet.web import clock
from tests.builders import BY, a_type


def a_training(
    person: Person, device_type: DeviceType | None = None, ends_on: date | None = None, **facts: object
) -> Training:
    """A training of last month, without an end unless one is given."""
    given = {"trained_on": clock.today() - timedelta(days=30), "by_whom": "Tarnwick Instruments", **facts}
    trained = Trained(types=(device_type or a_type(),), ends_on=ends_on, **given)
    return record_training([person], trained, by=BY)[0]


def in_days(days: int) -> date:
    """So many days from today on."""
    return clock.today() + timedelta(days=days)
