"""Awkward cases of what the bench measures and judges. Each throws dice of its own, so that no other story moves."""

import math
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Final

from fleet.audit.actors import Actor
from fleet.bench.actions import Answer, Completion, receive
from fleet.bench.actions.flow import Weighed, add_delivery_limit, record_flow_test
from fleet.bench.actions.reference import set_policy
from fleet.bench.models import DeliveryLimit, Order, OrderKind, Step
from fleet.core.flow import SAMPLE_MINUTES, Period
from fleet.core.judging import Acceptance
from fleet.core.orders import Outcome
from fleet.core.safety import Quantity
from fleet.management.demo.diary import soon
from fleet.management.demo.dice import Dice
from fleet.management.demo.faults import Fault
from fleet.management.demo.repairs import judged, raise_report, receive_now
from fleet.management.demo.scripts import before, fault_of
from fleet.management.demo.visits import technician
from fleet.management.demo.work import MAINS, finish, work_through
from fleet.management.demo.world import Driver, World
from fleet.stores.models import Instrument
from fleet.tags.models import TagReport
from fleet.web import clock

#: The weighing: water at a set rate (mL/h) for so many minutes. The lead screw turns once in _TURN minutes and gives
#: too much and too little by _RIPPLE meanwhile, so short windows are out while the mean is in.
_RATE: Final = Decimal(5)
_DENSITY: Final = Decimal("0.9982")
_MINUTES: Final = 120
_TURN: Final = 4.0
_RIPPLE: Final = 0.14
_MEAN: Final = 1.011
_LIMITS: Final = {
    DeliveryLimit.Quantity.MEAN_ERROR: Decimal(5),
    DeliveryLimit.Quantity.WINDOW_2: Decimal(6),
    DeliveryLimit.Quantity.WINDOW_11: Decimal(5),
}
_SOURCE: Final = "invented for the demo; the maker's manual decides"
#: µA: far from the first value of any driver here, and within the limit of each of its types.
_JUMPED: Final = "86.5"
#: %: within 5, and nearer to it than the flow analyser can tell.
_NEAR: Final = "4.6"


def trumpet_outside(world: World, driver: Driver) -> None:
    """A repair whose weighing shows a mean error within the limits and a trumpet curve that leaves them."""
    own = _aside(world, "trumpet")
    for quantity, bound in _LIMITS.items():
        limit = DeliveryLimit(
            device_type=driver.model.kind, quantity=quantity.value, low=-bound, high=bound, source=_SOURCE
        )
        add_delivery_limit(limit, by=world.crew.manager)
    before(own, 7, _report, own, driver, fault_of(TagReport.What.RATE), partial(_weigh, own, driver))
    world.note("trumpet-outside", driver, "on the bench: its mean flow is right, its trumpet curve outside the limits")


def _weigh(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    order = receive_now(world, driver, by)
    balances = Instrument.objects.filter(kind=Instrument.Kind.BALANCE, place=order.bench)
    given = Weighed(
        rate=_RATE,
        syringe_ml=driver.model.syringe_ml,
        log=_log(),
        log_name=f"{driver.device.asset_number}-5mLh.csv",
        density=_DENSITY,
        period=Period(),
        instrument=balances.first(),
    )
    record_flow_test(order, given, by=by)


def _log() -> str:
    """What the balance wrote: seconds and grams, a line every half minute."""
    step = 60 * SAMPLE_MINUTES
    seconds = [step * number for number in range(int(60 * _MINUTES / step) + 1)]
    return "\n".join(["seconds,grams", *(f"{at:.0f},{_grams(at / 60):.4f}" for at in seconds)])


def _grams(minutes: float) -> float:
    turn = _TURN / (2 * math.pi)
    flowing = _MEAN * minutes + _RIPPLE * turn * (1 - math.cos(minutes / turn))
    return float(_RATE * _DENSITY) / 60 * flowing


def leakage_jumped(world: World, driver: Driver) -> None:
    """A driver that fell: its leakage passes, and has gone most of the way from its first value to the limit."""
    own = _aside(world, "leakage")
    before(own, 20, _report, own, driver, fault_of(TagReport.What.DROPPED), partial(_mend_case, own, driver))
    world.note("leakage-jumped", driver, "repaired after a fall: its leakage passes, but far above its first value")


def _mend_case(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    order = receive_now(world, driver, by)
    step = next(step for step in _steps(world, order) if step.quantity == Quantity.EQUIPMENT)
    note = "Measured twice, lead and plug changed in between"
    measured = {
        step.position: Answer(
            value=_JUMPED, note=note, context=MAINS, instrument=world.testers.get(order.bench_id or 0)
        )
    }
    given = Completion(
        outcome=Outcome.DAMAGE,
        found=Order.Found.CASE,
        cause_kind=Order.Cause.KNOCK,
        cause="Case cracked by a fall",
        action_taken="Case replaced and sealed; leakage to be looked at again at the next service.",
        minutes=70,
        caused_by_work=judged(order),
    )
    _done_in_an_hour(world, order, given, by, measured)


def not_proven(world: World, driver: Driver) -> None:
    """A ward that accepts only what its instrument can prove, and a reading within the limits that it cannot."""
    why = "Agreed with the ward: small volumes, so what is not proven is not accepted."
    set_policy(driver.home, {"acceptance": Acceptance.GUARDED.value}, why=why, by=world.crew.manager)
    own = _aside(world, "guarded")
    before(own, 3.4, _measure_near, own, driver)
    world.note("not-proven", driver, f"on the bench: within its limits, but not proven by the rule of {driver.home}")


def _measure_near(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    bench = world.hospital.bench_for(driver.home)
    order = receive(driver.device, bench=bench, kind=OrderKind.PLANNED, by=by)
    step = next(step for step in _steps(world, order) if step.unit == "%")
    answer = Answer(value=_NEAR, note="50 mL syringe; measured twice", instrument=world.analysers[bench.pk])
    work_through(world, order, by=by, instead={step.position: answer})


def fault_after_service(world: World, driver: Driver) -> None:
    """A driver that came back a few days after its service, with a fault that the service had brought about."""
    own = _aside(world, "after service")
    before(own, 34, _serve, own, driver)
    world.note("fault-after-service", driver, "tagged days after its service, which had caused the fault")


def _serve(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    bench = world.hospital.bench_for(driver.home)
    order = receive(driver.device, bench=bench, kind=OrderKind.PLANNED, by=by)
    given = Completion(
        outcome=Outcome.NO_FAULT_FOUND,
        finding=Order.Finding.NOTHING,
        action_taken="Serviced in full; nothing to mend.",
        minutes=40,
    )
    _done_in_an_hour(world, order, given, by)
    later = partial(_report, world, driver, fault_of(TagReport.What.SYRINGE), partial(_seat_plug, world, driver))
    world.diary.plan(soon(clock.now(), world.rng, (70, 140)), later)


def _seat_plug(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    given = Completion(
        outcome=Outcome.REPAIRED,
        found=Order.Found.SYRINGE_FIT,
        cause_kind=Order.Cause.WORK,
        cause="Plug of the size sensor half out since the service",
        action_taken="Plug seated and locked; every size in use here tried.",
        minutes=35,
        caused_by_work=Order.Caused.YES,
    )
    _done_in_an_hour(world, receive_now(world, driver, by), given, by)


def _aside(world: World, name: str) -> World:
    """The same world with dice of its own."""
    return replace(world, rng=Dice(name))


def _report(world: World, driver: Driver, fault: Fault, then: partial[None]) -> None:
    """The ward tags the driver; `then` is what the bench does a day or so later."""
    raise_report(world, driver, fault)
    world.diary.plan(soon(clock.now(), world.rng, (20, 40)), then)


def _done_in_an_hour(
    world: World, order: Order, given: Completion, by: Actor, measured: dict[int, Answer] | None = None
) -> None:
    def work() -> None:
        work_through(world, order, by=by, instead=measured)
        finish(order, given, by=by)

    world.diary.plan(clock.now() + timedelta(hours=1), work)


def _steps(world: World, order: Order) -> list[Step]:
    return world.steps(order.procedure_version_id or 0)
