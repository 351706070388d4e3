"""A retired driver and the completion figures."""

from datetime import date

import pytest

from fleet.registry.models import Device
from fleet.schedules import actions, queries
from fleet.schedules.models import Due
from fleet.schedules.queries import Asked
from tests.builders import BY
from tests.schedules.builders import a_due, on

pytestmark = pytest.mark.django_db


def retired(due: Due, day: date) -> None:
    Device.objects.filter(pk=due.device_id).update(condition="retired", retired_on=day)
    with on(day):
        actions.suspend(due.device, by=BY)


@pytest.mark.parametrize(("day", "scheduled"), [(date(2028, 3, 1), 0), (date(2028, 3, 2), 1)])
def test_retired_before_the_window_ended_leaves_the_count(day: date, scheduled: int) -> None:
    """Retired on the window's last day the due leaves the figures; retired the day after, it stays a miss."""
    retired(a_due(), day)
    total = queries.completion(Asked(first=date(2028, 3, 1), last=date(2028, 3, 31)), on=date(2028, 4, 10)).total
    assert total.scheduled == scheduled
