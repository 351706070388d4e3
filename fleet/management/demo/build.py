"""The whole scenario, in the order of its time: a hospital, its people and drivers, three years of history."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from fleet.management.demo.awkward import plan_cases
from fleet.management.demo.deliveries import plan_deliveries, plan_new_type, plan_retirements
from fleet.management.demo.diary import Diary, Progress, local
from fleet.management.demo.dice import Dice
from fleet.management.demo.drivers import TAKEN_OVER_SHARE, take_over, wishes
from fleet.management.demo.handing import plan_handing
from fleet.management.demo.hospital import build_hospital
from fleet.management.demo.instruments import plan_instruments
from fleet.management.demo.libraries import build_libraries, first_sight, plan_nights, plan_sightings
from fleet.management.demo.parts import plan_parts
from fleet.management.demo.people import build_people
from fleet.management.demo.policy import plan_policy
from fleet.management.demo.procedures import plan_procedures
from fleet.management.demo.reasons import plan_reasons
from fleet.management.demo.repairs import plan_fault
from fleet.management.demo.rounds import plan_rounds
from fleet.management.demo.team import plan_team
from fleet.management.demo.use import plan_readings
from fleet.management.demo.visits import plan_service
from fleet.management.demo.world import World
from fleet.web import clock

YEARS: Final = 3
#: With fewer there are not enough drivers to play every awkward case.
FEWEST: Final = 40


@transaction.atomic
def build(devices: int, *, seed: int, end: datetime, progress: Progress) -> World:
    """Make the hospital and its history up to `end`, all or nothing; `progress` hears how much is done (0 to 1)."""
    last = clock.local_day(end)
    start = last - timedelta(days=365 * YEARS)
    diary = Diary(local(start, 6), end)
    rng = Dice(seed)
    with clock.at(diary.start):
        hospital = build_hospital()
        world = World(hospital, build_people(hospital), rng, diary)
        _begin(world, devices)
        plan_cases(world)
    diary.run(progress)
    return world


def _begin(world: World, count: int) -> None:
    """Take over what is in use, and plan everything that chance will bring."""
    start, end = clock.today(), clock.local_day(world.diary.end)
    plan_instruments(world)
    plan_parts(world)
    build_libraries(world, start, end)
    fresh = max(3, count // 100)
    wanted = wishes(world.hospital, count - fresh, world.rng)
    known = round(TAKEN_OVER_SHARE * len(wanted))
    world.drivers += take_over(world.hospital, wanted[:known], start, world.rng)
    for driver in world.drivers:
        first_sight(world, driver)
        plan_service(world, driver)
        plan_fault(world, driver)
    plan_deliveries(world, wanted[known:], start, end)
    plan_new_type(world, fresh, end)
    plan_retirements(world, start, end, max(1, count // 30))
    plan_sightings(world)
    plan_nights(world, start, end)
    plan_readings(world, start, end)
    plan_policy(world)
    plan_procedures(world)
    plan_reasons(world)
    plan_rounds(world)
    plan_handing(world)
    plan_team(world)
