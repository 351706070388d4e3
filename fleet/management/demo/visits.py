"""Planned work in the invented years: yearly services with battery tests, late ones, deferrals, visits in vain."""

from datetime import date, timedelta
from functools import partial
from typing import Final

from fleet.audit.actors import Actor
from fleet.batteries import actions as batteries
from fleet.batteries.models import Fitting
from fleet.bench.actions import Completion, receive
from fleet.bench.models import Order, OrderKind
from fleet.core.due import add_months
from fleet.core.orders import Outcome
from fleet.libraries.actions import carries
from fleet.management.demo.cells import LEVEL, Run, a_run, as_test, count_cycles, replace_pack
from fleet.management.demo.diary import bench_hour, soon
from fleet.management.demo.dice import Dice
from fleet.management.demo.parts import use_kit
from fleet.management.demo.work import finish, work_through
from fleet.management.demo.world import Driver, World
from fleet.schedules.actions import attempt, defer, roll_kind
from fleet.schedules.models import Due, DueAttempt, Plan
from fleet.web import clock

_LATE_SHARE: Final = 0.13
_DEFERRED_SHARE: Final = 0.03
_TRIED_SHARE: Final = 0.5
#: Runtime fraction from which a year's fade leads under the replacement level.
_SOON_UNDER: Final = 0.87
_BATTERY_WINDOW: Final = timedelta(days=45)
#: So soon after the last service nobody fetches a driver for the next.
_TOO_EARLY: Final = timedelta(days=180)
_DEFERRED_WHY: Final = (
    "In use on a long infusion; the ward asks for two more weeks and has no other of the type.",
    "Test bench away for calibration; risk looked at, no open alerts on this driver.",
    "Theatre list full until then; driver checked at a glance and without faults in its log.",
)
_CAME_UPON: Final = {
    Order.Finding.NOTHING: 86,
    Order.Finding.MINOR: 8,
    Order.Finding.POTENTIAL: 3,
    Order.Finding.HIDDEN: 2,
    Order.Finding.WEAR: 1,
}
_IN_VAIN: Final = {
    DueAttempt.Reason.NOT_FOUND: "Not on the ward; asked at the desk and in the equipment room.",
    DueAttempt.Reason.IN_USE: "Running; no other driver free to change to.",
    DueAttempt.Reason.REFUSED: "Isolation room; asked to come back.",
}


def plan_service(world: World, driver: Driver) -> None:
    """Plan the next yearly service a year after the last; some come late, a few are put off."""
    rng = world.rng
    due_on = max(add_months(driver.served_on, 12), clock.today() + timedelta(days=2))
    slip = round(rng.gauss(-4, 11))
    if rng.happens(_LATE_SHARE):
        slip = rng.randrange(32, 130)
        _plan_attempts(world, driver, due_on)
    elif rng.happens(_DEFERRED_SHARE):
        slip = rng.randrange(45, 70)
        put_off = partial(_defer, world, driver, due_on + timedelta(days=slip + 10))
        world.diary.plan(bench_hour(due_on - timedelta(days=3), rng), put_off)
    visit_on = max(due_on + timedelta(days=slip), clock.today() + timedelta(days=1))
    world.diary.plan(bench_hour(visit_on, rng), partial(_visit, world, driver))


def _plan_attempts(world: World, driver: Driver, due_on: date) -> None:
    for days in (9, 24):
        if world.rng.happens(_TRIED_SHARE):
            moment = bench_hour(due_on + timedelta(days=days), world.rng)
            world.diary.plan(moment, partial(_try_in_vain, world, driver))


def _try_in_vain(world: World, driver: Driver) -> None:
    if not driver.free:
        return
    reason = world.rng.choices(list(_IN_VAIN), (4, 5, 1))[0]
    attempt(service_due(driver), reason, note=_IN_VAIN[reason], by=technician(world, driver))


def _defer(world: World, driver: Driver, until: date) -> None:
    due = service_due(driver)
    if driver.free and until > due.closes_on:
        defer(due, until, why=world.rng.choice(_DEFERRED_WHY), by=world.crew.manager)


def service_due(driver: Driver) -> Due:
    """The driver's next yearly service."""
    return Due.objects.select_related("device", "plan").get(device=driver.device, plan__kind=Plan.Kind.SERVICE)


def technician(world: World, driver: Driver) -> Actor:
    """Who looks after the driver at its bench this month."""
    bench = world.hospital.bench_for(driver.home)
    return world.crew.technician_at(bench.code, driver.number + clock.today().month)


def _visit(world: World, driver: Driver) -> None:
    """Fetch the driver for its service; one that is not to be had now is tried again in a while."""
    if driver.gone or driver.kept_for:
        return
    if driver.busy:
        again = bench_hour(clock.today() + timedelta(days=world.rng.randrange(5, 12)), world.rng)
        world.diary.plan(again, partial(_visit, world, driver))
        return
    if clock.today() < driver.served_on + _TOO_EARLY:
        plan_service(world, driver)  # its repair brought the service with it
        return
    driver.busy = True
    by, now = technician(world, driver), clock.now()
    entered_late = timedelta(hours=3) if world.rng.happens(0.05) else timedelta(0)
    bench = world.hospital.bench_for(driver.home)
    order = receive(driver.device, bench=bench, kind=OrderKind.PLANNED, by=by, done_at=now - entered_late)
    run = a_run(driver, now, world.rng) if _test_is_due(driver) else None
    ready = soon(run.stopped_at, world.rng, (1, 18)) if run else soon(now, world.rng, (2, 50))
    world.diary.plan(ready, partial(_serve, world, driver, order, run, by))


def _test_is_due(driver: Driver) -> bool:
    return clock.today() >= add_months(driver.tested_on, driver.model.months_between_tests) - _BATTERY_WINDOW


def _serve(world: World, driver: Driver, order: Order, run: Run | None, by: Actor) -> None:
    """Work through the service and return the driver; a pack found under the level is replaced at once."""
    work_through(world, order, by=by)
    use_kit(world, order, by=by)
    replaced = run is not None and _test_pack(world, driver, order, run, by)
    if not driver.model.networked:
        load_by_cable(world, driver, by)
    given = Completion(
        outcome=Outcome.REPAIRED if replaced else Outcome.NO_FAULT_FOUND,
        found=Order.Found.BATTERY if replaced else Order.Found.NOTHING,
        finding=_finding(order, replaced=replaced),
        action_taken="Serviced in full; " + ("worn pack replaced." if replaced else "nothing to mend."),
        minutes=world.rng.randrange(25, 60),
    )
    finish(order, given, by=by)
    driver.busy, driver.served_on = False, clock.today()
    plan_service(world, driver)


def serve_owed(world: World, driver: Driver, by: Actor) -> None:
    """Do the service that ran out while the driver was missing: its repair cannot return it before."""
    if not Due.objects.filter(device=driver.device, before_use=True, suspended=False).exists():
        return
    order = receive(driver.device, bench=world.hospital.bench_for(driver.home), kind=OrderKind.PLANNED, by=by)
    work_through(world, order, by=by)
    given = Completion(
        outcome=Outcome.NO_FAULT_FOUND,
        found=Order.Found.NOTHING,
        finding=Order.Finding.NOTHING,
        action_taken="Serviced in full, since its service ran out while it was missing.",
        minutes=40,
        stays=True,
    )
    finish(order, given, by=by)
    driver.served_on = clock.today()


def _finding(order: Order, *, replaced: bool) -> Order.Finding:
    """What the service came upon: a worn pack, else now and then something. Its own dice leave the story as it is."""
    if replaced:
        return Order.Finding.WEAR
    return Dice(f"finding {order.number}").choices(list(_CAME_UPON), list(_CAME_UPON.values()))[0]


def _test_pack(world: World, driver: Driver, order: Order, run: Run, by: Actor) -> bool:
    """Log the test; whether the pack was replaced for it."""
    batteries.log_test(as_test(driver, run, world.rng, order), by=by)
    count_cycles(driver, by=by)
    roll_kind(driver.device, Plan.Kind.BATTERY, done_on=clock.today(), order_number=order.number, by=by)
    driver.tested_on = clock.today()
    why = _why_replaced(world, run)
    if why is not None:
        replace_pack(world, driver, why, by=by, order=order)
    return why is not None


def _why_replaced(world: World, run: Run) -> Fitting.Why | None:
    """A pack under the level is replaced; one that would get there before the next test, more often than not."""
    if not run.flat:
        return None
    if run.fraction < LEVEL:
        return Fitting.Why.WORN
    return Fitting.Why.FORECAST if run.fraction < _SOON_UNDER and world.rng.happens(0.7) else None


def load_by_cable(world: World, driver: Driver, by: Actor) -> None:
    """Load the library that the driver's place requires, for a type without a network."""
    version = world.in_force[library_of(driver)]
    carries(driver.device, version, seen_at=clock.now(), source="bench", by=by)
    roll_kind(driver.device, Plan.Kind.LIBRARY, done_on=clock.today(), by=by)


def library_of(driver: Driver) -> str:
    """The code of the library that the driver's place asks for."""
    return "palliative" if driver.home.code.startswith("ah") or driver.home.code == "mg-w5" else "acute"
