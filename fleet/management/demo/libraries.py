"""Drug libraries in the invented years: releases, what each place requires, updates over the network, sightings."""

from datetime import date, timedelta
from functools import partial
from typing import Final, NamedTuple

from fleet.audit.actors import job_actor
from fleet.batteries.actions import remove_from_retired
from fleet.libraries.actions import add_library, carries, release, require, snapshot, withdraw
from fleet.libraries.models import Carried, Library, LibraryVersion
from fleet.management.demo.diary import any_hour, local
from fleet.management.demo.hospital import BY
from fleet.management.demo.visits import library_of, technician
from fleet.management.demo.world import Driver, World
from fleet.registry.actions import note_firmware, see
from fleet.schedules.actions import mark_late
from fleet.web import clock

SEEN_ON_NETWORK: Final = "network"
#: Reads what drivers send; a demonstration has no network, so the scenario speaks for it.
LISTENER: Final = job_actor("network listener")
_SNAPSHOT_DAYS: Final = 84
_STRAY_SHARE: Final = 0.03
_SILENT_SHARE: Final = 0.07
#: Days before the end from which on drivers are seen, and days from one sight to the next.
_SEEN_FROM: Final = 112
_SIGHT_EVERY: Final = 27


class Release(NamedTuple):
    """A release, in days before the end of the scenario; required three weeks after it came out."""

    library: str
    number: str
    days_before: int
    note: str
    withdrawn_after: int | None = None


NAMES: Final = {"acute": "Mereford Acute", "palliative": "Aldhollow Palliative"}
PLACES: Final = {"acute": ("mg", "cv"), "palliative": ("ah", "mg-w5")}
RELEASES: Final = (
    Release("acute", "5.1", 860, "Limits of two sedatives; new profile for the emergency department"),
    Release("palliative", "2.1", 640, "Wider limits for night rates"),
    Release("acute", "5.2", 430, "Neonatal profile renewed", withdrawn_after=24),
    Release("acute", "5.3", 400, "Replaces 5.2, whose neonatal profile had a wrong upper limit"),
    Release("palliative", "2.2", 150, "Two concentrations added"),
    Release("acute", "5.4", 47, "Names in tall letters where two look alike"),
)
_LEAD_DAYS: Final = 21


def build_libraries(world: World, start: date, end: date) -> None:
    """Add the libraries with their first versions, and plan the releases to come."""
    for code, name in NAMES.items():
        library = add_library(name, code, by=BY)
        first = release(library, {"acute": "5.0", "palliative": "2.0"}[code], start - timedelta(days=200), by=BY)
        _require(world, code, first)
        for coming in RELEASES:
            day = end - timedelta(days=coming.days_before)
            if coming.library == code and day > start:
                world.diary.plan(local(day, 10), partial(_release, world, library, coming))


def _release(world: World, library: Library, coming: Release) -> None:
    today = clock.today()
    version = release(library, coming.number, today, note=coming.note, by=world.crew.manager)
    if coming.withdrawn_after is not None:
        why = "Upper limit of one neonatal entry wrong; the version before it is to be loaded again."
        world.diary.plan(
            local(today + timedelta(days=coming.withdrawn_after), 15), partial(_withdraw, world, version, why)
        )
        return
    required_from = local(today + timedelta(days=_LEAD_DAYS), 7)
    world.diary.plan(required_from, partial(_roll_out, world, coming.library, version))


def _withdraw(world: World, version: LibraryVersion, why: str) -> None:
    withdraw(version, on=clock.today(), why=why, by=world.crew.manager)


def _require(world: World, code: str, version: LibraryVersion) -> None:
    for place in PLACES[code]:
        require(world.hospital.places[place], version, clock.today(), by=BY)
    world.in_force[code] = version


def _roll_out(world: World, code: str, version: LibraryVersion) -> None:
    """Require the version; drivers on the network take it within weeks, and a few miss it."""
    _require(world, code, version)
    for driver in world.drivers:
        listens = driver.on_network and not driver.silent
        if listens and library_of(driver) == code and not world.rng.happens(0.04):
            day = clock.today() + timedelta(days=round(world.rng.expovariate(1 / 8)))
            world.diary.plan(any_hour(day, world.rng), partial(take_over_network, world, driver))


def take_over_network(world: World, driver: Driver) -> None:
    """Let a driver take what its place requires, as read over the network."""
    if not (driver.busy or driver.gone):
        version = world.in_force[library_of(driver)]
        carries(driver.device, version, seen_at=clock.now(), source=SEEN_ON_NETWORK, by=LISTENER)


def first_sight(world: World, driver: Driver) -> None:
    """What a driver carries when the record first knows it."""
    if driver.on_network:
        take_over_network(world, driver)
        firmware = f"3.{world.rng.randrange(2, 5)}.{world.rng.randrange(10)}"
        note_firmware(driver.device, firmware, at=clock.now(), by=LISTENER)
    elif not driver.model.networked:
        version = world.in_force[library_of(driver)]
        carries(driver.device, version, seen_at=clock.now(), source="bench", by=BY)


def plan_sightings(world: World) -> None:
    """Plan how drivers are seen in the last months: every few weeks, unless they fall silent; a few in another ward."""
    world.diary.plan(world.diary.end - timedelta(days=_SEEN_FROM), partial(_begin_sightings, world))


def _begin_sightings(world: World) -> None:
    for driver in world.drivers:
        driver.silent = driver.on_network and world.rng.happens(_SILENT_SHARE)
        plan_sight(world, driver, world.rng.randrange(1, _SIGHT_EVERY))


def plan_sight(world: World, driver: Driver, days: int) -> None:
    """Plan the next sighting of a driver so many days from now; before the last months nobody wrote sightings down."""
    if world.diary.end - clock.now() <= timedelta(days=_SEEN_FROM):
        moment = any_hour(clock.today() + timedelta(days=days), world.rng)
        world.diary.plan(moment, partial(_see, world, driver))


def _see(world: World, driver: Driver) -> None:
    if driver.free:
        _seen(world, driver)
    # One put away in a cupboard is heard of once more, and then no longer.
    if not (driver.silent or driver.gone):
        plan_sight(world, driver, _SIGHT_EVERY)


def _seen(world: World, driver: Driver) -> None:
    """Seen on the network or on a ward round; where it stands is told in the last weeks only, as it changes little."""
    source, by = (SEEN_ON_NETWORK, LISTENER) if driver.on_network else ("ward round", technician(world, driver))
    if world.diary.end - clock.now() < timedelta(days=_SIGHT_EVERY) or driver.silent:
        wards = [place for _, place in world.hospital.wards()]
        see(driver.device, world.rng.choice(wards) if world.rng.happens(_STRAY_SHARE) else driver.home, source, by=by)
    held = Carried.objects.select_related("version__library").filter(device=driver.device).first()
    if held is not None:
        carries(driver.device, held.version, seen_at=clock.now(), source=source, by=by)


#: Days before the end from which late dues are marked each night.
_EACH_NIGHT: Final = 30


def plan_nights(world: World, start: date, end: date) -> None:
    """Plan what the nights did: late dues marked weekly, of late each day; packs of retired drivers, coverage weekly.

    A due says since when it is late, whenever it is marked, so the early years need no run for each night.
    """
    for days in range((end - start).days):
        day = start + timedelta(days=days)
        if day.weekday() == 0 or (end - day).days <= _EACH_NIGHT:
            world.diary.plan(local(day, 1), partial(mark_late, day))
        if day.day == 1:
            world.diary.plan(local(day, 2), partial(remove_from_retired, by=BY))
        if (end - day).days % 7 == 0 and (end - day).days <= _SNAPSHOT_DAYS:
            world.diary.plan(local(day, 2), partial(snapshot, day))
