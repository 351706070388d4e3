"""Drivers delivered since: each waits in the store for its acceptance order, and retires old ones in its turn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Final

from fleet.audit.actors import Actor
from fleet.bench.actions import Completion, receive, retire
from fleet.bench.models import Order, Retirement
from fleet.core.orders import Outcome
from fleet.management.demo.cells import fit_fresh
from fleet.management.demo.diary import bench_hour, local, soon
from fleet.management.demo.drivers import NEW_TYPE, OLD, Wish, facts
from fleet.management.demo.handing import complete_record
from fleet.management.demo.libraries import first_sight, plan_sight
from fleet.management.demo.repairs import plan_fault
from fleet.management.demo.visits import plan_service
from fleet.management.demo.work import finish, work_through
from fleet.management.demo.world import Cell, Driver, World
from fleet.registry.actions import NewDevice, add_devices
from fleet.registry.models import Device
from fleet.web import clock

BATCHES: Final = 10
#: Days before the end on which the new type comes, and on which a box comes that nobody has opened yet.
NEW_TYPE_DAYS: Final = 115
UNOPENED_DAYS: Final = 3


@dataclass(frozen=True, slots=True)
class Arrival:
    """A delivered driver on its way through acceptance."""

    device: Device
    wish: Wish
    number: int


def plan_deliveries(world: World, wanted: Sequence[Wish], start: date, end: date) -> None:
    """Plan deliveries spread over the years, the new type lately, and a last box that is still to be accepted."""
    late = max(1, len(wanted) // 40)
    usual, unopened = wanted[:-late], wanted[-late:]
    span = (end - start).days - 60
    size = -(-len(usual) // BATCHES) or 1
    for number, first in enumerate(range(0, len(usual), size)):
        day = start + timedelta(days=30 + number * span // BATCHES)
        world.diary.plan(bench_hour(day, world.rng), partial(_deliver, world, usual[first : first + size]))
    last = local(end - timedelta(days=UNOPENED_DAYS), 11)
    world.diary.plan(last, partial(_deliver, world, unopened, opened=False))


def plan_new_type(world: World, count: int, end: date) -> None:
    """Plan the delivery of a type that is too new for a forecast."""
    ward = world.hospital.places["mg-nnu"]
    day = end - timedelta(days=NEW_TYPE_DAYS)
    wanted = [Wish(NEW_TYPE, ward, Device.Pool.CLINICAL)] * count
    world.diary.plan(bench_hour(day, world.rng), partial(_deliver, world, wanted))


def _deliver(world: World, wanted: Sequence[Wish], *, opened: bool = True) -> None:
    today, first = clock.today(), len(world.drivers) + 1
    news = [_delivered(world, wish, today, number) for number, wish in enumerate(wanted, start=first)]
    devices = add_devices(news, by=world.crew.storekeeper)
    for number, (device, wish) in enumerate(zip(devices, wanted, strict=True), start=first):
        arrival = Arrival(device, wish, number)
        if opened:
            world.diary.plan(soon(clock.now(), world.rng, (20, 400)), partial(_open_box, world, arrival))


def _delivered(world: World, wish: Wish, today: date, number: int) -> NewDevice:
    model = world.hospital.models[wish.model]
    store = world.hospital.store_for(wish.home)
    return NewDevice(
        serial_number=f"{model.prefix}{today:%y%m}-{52000 + number}",
        device_type=model.kind,
        home=wish.home,
        facts=facts(world.hospital, wish, today, place=store),
    )


def _open_box(world: World, arrival: Arrival) -> None:
    bench = world.hospital.bench_for(arrival.wish.home)
    by = world.crew.technician_at(bench.code, arrival.number)
    order = receive(arrival.device, bench=bench, by=by)
    cell = fit_fresh(world, arrival.device, world.hospital.models[arrival.wish.model], by=by, order=order)
    world.diary.plan(soon(clock.now(), world.rng, (3, 48)), partial(_accept, world, arrival, order, cell, by))


def _accept(world: World, arrival: Arrival, order: Order, cell: Cell, by: Actor) -> None:
    work_through(world, order, by=by)
    done = Completion(outcome=Outcome.NO_FAULT_FOUND, found=Order.Found.NOTHING, action_taken="Accepted.", minutes=35)
    finish(order, done, by=by)
    today, model = clock.today(), world.hospital.models[arrival.wish.model]
    device = Device.objects.select_related("device_type__maker", "home").get(pk=arrival.device.pk)
    driver = Driver(device, model, arrival.wish.home, arrival.number, model.networked, cell, today, today)
    world.drivers.append(driver)
    first_sight(world, driver)
    plan_service(world, driver)
    plan_fault(world, driver)
    plan_sight(world, driver, 20)


def plan_retirements(world: World, start: date, end: date, count: int) -> None:
    """Plan the retirement of the oldest as the new ones come."""
    clinical = [driver for driver in world.drivers[:-OLD] if driver.device.pool == Device.Pool.CLINICAL]
    oldest = sorted(clinical, key=lambda driver: driver.device.accepted_on or start)
    for driver in oldest[:count]:
        day = start + timedelta(days=world.rng.randrange(200, (end - start).days - 90))
        world.diary.plan(bench_hour(day, world.rng), partial(_retire, world, driver))


def _retire(world: World, driver: Driver) -> None:
    if driver.free:
        why = "Replaced by a new one; parts for its age no longer made."
        retire(driver.device, why=why, reason=Retirement.Reason.REPLACED.value, by=world.crew.manager)
        complete_record(driver, world.crew.manager)
        driver.gone = True
