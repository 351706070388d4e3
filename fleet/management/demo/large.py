"""A large fleet for measuring: drivers, packs, tests and dues by the plural actions; a few tags and sights singly."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from fleet.batteries import actions as batteries
from fleet.management.demo.cells import as_test, run_of
from fleet.management.demo.diary import Diary, Progress, local
from fleet.management.demo.dice import Dice
from fleet.management.demo.drivers import Wish, take_over, wishes
from fleet.management.demo.faults import a_fault
from fleet.management.demo.hospital import BY, Hospital, build_hospital
from fleet.management.demo.libraries import build_libraries, first_sight
from fleet.management.demo.people import build_people
from fleet.management.demo.repairs import raise_report
from fleet.management.demo.world import Driver, World
from fleet.web import clock

CHUNK: Final = 2000
#: Drivers that are tagged, and seen, one by one, so that queue and coverage are not empty.
TAGGED: Final = 150
SEEN: Final = 1000
#: Days before the end on which each pack is tested, if it was fitted by then.
TESTED: Final = (700, 340, 15)


def build_large(devices: int, *, seed: int, end: datetime, progress: Progress) -> World:
    """Make a hospital with very many drivers and no orders, in chunks; the people come last, when all is there."""
    rng = Dice(seed)
    with clock.at(end):
        hospital = build_hospital()
        wanted = wishes(hospital, devices, rng)
        drivers: list[Driver] = []
        for first in range(0, devices, CHUNK):
            drivers += _take_over(hospital, wanted[first : first + CHUNK], rng, first)
            progress(len(drivers) / devices)
        return _people_and_tags(hospital, drivers, rng, end)


@transaction.atomic
def _take_over(hospital: Hospital, wanted: Sequence[Wish], rng: Dice, first: int) -> list[Driver]:
    today = clock.today()
    drivers = take_over(hospital, wanted, today, rng, first_number=first)
    tests = [
        as_test(driver, run_of(driver, local(today - timedelta(days=days), 7), rng), rng)
        for days in TESTED
        for driver in drivers
        if driver.cell.fitted_on < today - timedelta(days=days)
    ]
    batteries.log_tests(tests, by=BY, taken_over=True)
    return drivers


@transaction.atomic
def _people_and_tags(hospital: Hospital, drivers: list[Driver], rng: Dice, end: datetime) -> World:
    world = World(hospital, build_people(hospital), rng, Diary(end, end), drivers)
    build_libraries(world, clock.today(), clock.today())
    tenth = len(world.drivers) // 10
    for driver in world.drivers[: min(SEEN, tenth)]:
        first_sight(world, driver)
    for driver in world.rng.sample(world.drivers, min(TAGGED, tenth)):
        raise_report(world, driver, a_fault(world.rng))
    return world
