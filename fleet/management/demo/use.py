"""How much the drivers on the network run: their counters, read over it every few weeks and in the last nights."""

from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import Final

from fleet.management.demo.diary import local
from fleet.management.demo.dice import Dice
from fleet.management.demo.hospital import BY
from fleet.management.demo.world import Driver, World
from fleet.registry.actions import note_running_hours_of_many
from fleet.registry.models import Device
from fleet.schedules.actions import keep_readings
from fleet.web import clock

_EVERY_DAYS: Final = 84
#: Nights before the end in which the counters are read besides.
_LAST: Final = (21, 14, 7, 0)
#: Invented: hours a week that most drivers run, and the few that hardly ever stand still.
_USUAL: Final = (18, 80)
_BUSY: Final = (104, 118)
_BUSY_SHARE: Final = 0.15


def plan_readings(world: World, start: date, end: date) -> None:
    """Plan the readings; each in few statements for all drivers."""
    days = {start + timedelta(days=number) for number in range(2, (end - start).days - _LAST[0], _EVERY_DAYS)}
    for day in sorted(days | {end - timedelta(days=before) for before in _LAST}):
        world.diary.plan(local(day, 4), partial(_read, world))


def _read(world: World) -> None:
    told = (driver for driver in world.drivers if driver.on_network and not (driver.gone or driver.silent))
    read = {driver.device.pk: _hours(driver) for driver in told}
    note_running_hours_of_many(read, at=clock.now(), by=BY)
    keep_readings(Device.objects.filter(pk__in=read).select_related("use"))


def _hours(driver: Driver) -> Decimal:
    """What the counter shows: from its acceptance on, at the driver's own rate, drawn by dice of its own."""
    rng = Dice(f"hours {driver.device.asset_number}")
    a_week = rng.uniform(*(_BUSY if rng.happens(_BUSY_SHARE) else _USUAL))
    began = driver.device.accepted_on or clock.today()
    return Decimal(f"{a_week * max((clock.today() - began).days, 0) / 7:.1f}")
