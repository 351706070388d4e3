"""A large fleet for measuring: made in bulk, in any number, and still with a trail for each driver."""

import pytest
from django.core.management import CommandError, call_command

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


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--devices", "7"], "give 40 to 1000000"),
        (["--devices", "many"], "give 40 to 1000000"),
        (["--until", "2999-01-01"], "lies ahead"),
        (["--until", "18.3.2026"], "write it as YYYY-MM-DD"),
    ],
)
def test_a_wrong_option_is_refused_in_words(options: list[str], words: str) -> None:
    """Nothing is built for a number or a day that makes no sense."""
    with pytest.raises(CommandError, match=words):
        call_command("demo", *options)
    assert not Device.objects.exists()


def test_nobody_to_sign_in_is_said() -> None:
    """--sign-ins in a database without the demonstration says so, and makes nobody up."""
    assert "nobody of the demonstration" in run(sign_ins=True)
    assert not Person.objects.exists()
