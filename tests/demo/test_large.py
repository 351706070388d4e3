"""A large fleet for measuring: made in bulk, in any number, and still with a trail for each driver."""

import pytest

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Fitting, Forecast, RuntimeTest
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Due
from fleet.tags.models import Tag
from tests.demo.built import run

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
MANY = 2000


def test_a_large_fleet_is_built_in_bulk() -> None:
    """Each of 2,000 drivers has a pack, dues, a forecast and a trail; some are tagged, and people can sign in."""
    run(devices=MANY)
    assert Device.objects.count() == MANY
    assert Fitting.objects.filter(removed_on=None).count() == MANY
    assert RuntimeTest.objects.count() > MANY
    assert Due.objects.values("device").distinct().count() == MANY
    assert Forecast.objects.count() == MANY
    assert not Device.objects.exclude(pk__in=TrailEntry.objects.values("device_ref")).exists()
    assert Tag.objects.filter(cleared_at=None).count() == 150
    assert Person.objects.filter(username="technician").exists()
