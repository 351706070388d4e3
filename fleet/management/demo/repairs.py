"""Repairs in the invented years: a ward tags, the bench receives, waits, repairs and returns, or misses or retires."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Final

from fleet.audit.actors import Actor, link_actor
from fleet.batteries.models import Fitting
from fleet.bench.actions import Completion, add_external, raise_order, receive, resume, set_aside
from fleet.bench.models import Order, OrderKind
from fleet.bench.queries import work_before
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import Outcome
from fleet.management.demo.cells import replace_pack
from fleet.management.demo.diary import any_hour, soon
from fleet.management.demo.dice import Dice
from fleet.management.demo.faults import Fault, Repair, a_fault, a_repair, connected, where
from fleet.management.demo.handing import complete_record
from fleet.management.demo.parts import use_part
from fleet.management.demo.visits import serve_owed, technician
from fleet.management.demo.work import fail_delivery, finish, sign, work_through
from fleet.management.demo.world import Driver, World
from fleet.registry.models import Device
from fleet.tags.actions import Custody, Raised, add_custody, lift_quarantine, raise_tag, report_found
from fleet.tags.models import Decontamination, Quarantine, YesNo
from fleet.tags.report import Report
from fleet.web import clock

#: Faults a year in critical care and elsewhere.
_A_YEAR: Final = {True: 0.34, False: 0.24}
_HARM_SHARE: Final = 0.014
_MISSED_SHARE: Final = 0.02
_RETIRED_SHARE: Final = 0.25
#: Runtime fraction under which a bench calls a pack worn.
_WORN: Final = 0.85
_OLD_DAYS: Final = 365 * 7
_DAYS: Final = {
    WaitReason.PARTS: (4, 21),
    WaitReason.MAKER: (12, 45),
    WaitReason.DECONTAMINATION: (1, 3),
}
_WHY_WAIT: Final = {
    WaitReason.PARTS: "Part ordered, delivery promised within three weeks.",
    WaitReason.MAKER: "Sent to the maker with its event log.",
    WaitReason.DECONTAMINATION: "Came with residue on it; back to be cleaned before anybody opens it.",
}


@dataclass(frozen=True, slots=True)
class Job:
    """One repair under way."""

    driver: Driver
    fault: Fault
    repair: Repair
    harm: bool
    by: Actor
    order: Order | None = None


def plan_fault(world: World, driver: Driver) -> None:
    """Plan the driver's next fault, at random and more often in critical care."""
    days = world.rng.expovariate(_A_YEAR[driver.home.critical] / 365)
    moment = any_hour(clock.today() + timedelta(days=1 + round(days)), world.rng)
    world.diary.plan(moment, partial(_fault, world, driver))


def _fault(world: World, driver: Driver) -> None:
    if driver.gone or driver.kept_for:
        return
    if driver.free:
        tag_by_ward(world, driver, a_fault(world.rng))
    plan_fault(world, driver)


def tag_by_ward(world: World, driver: Driver, fault: Fault) -> None:
    """Let the ward tag the driver, and the bench take it from there."""
    rng = world.rng
    harm = rng.happens(_HARM_SHARE)
    driver.busy = True
    raised = raise_report(world, driver, fault, harm=YesNo.NOT_SURE if harm else YesNo.NO)
    job = Job(driver, fault, a_repair(fault, rng), harm, technician(world, driver))
    if rng.happens(_MISSED_SHARE) and not harm:
        world.diary.plan(soon(clock.now(), rng, (48, 96)), partial(_miss, world, job, raised))
        return
    world.diary.plan(soon(clock.now(), rng, (1, 60)), partial(_receive, world, job))


def raise_report(world: World, driver: Driver, fault: Fault, *, harm: YesNo = YesNo.NO, words: str = "") -> Raised:
    """One ward report now, by the ward's nurse or by somebody with the driver's label and a phone."""
    rng = world.rng
    nurse = world.crew.nurses.get(driver.home.code)
    by = nurse if nurse and rng.happens(0.4) else link_actor(driver.device.asset_number)
    kinds = fault.alerts[: rng.randrange(len(fault.alerts) + 1)]
    report = Report(
        key=uuid.UUID(int=rng.getrandbits(128), version=4),
        what=fault.what.value,
        words=words or rng.choice(fault.words),
        screen_text=rng.choice(fault.screens),
        connected=connected(rng),
        harm=harm.value,
        where=where(rng),
        reporter=by.name if by is nurse else f"{driver.home.name}, shift lead",
        reach=driver.home.phone or "by the ward's desk",
        place=driver.home,
        goes_along=rng.choice(("", "", "Syringe and line kept with it", "Power lead")),
        decontamination=rng.choices(Decontamination.values, (3, 6, 1))[0],
        incident_reference=f"IR-{rng.randrange(10000, 99999)}" if harm != YesNo.NO else "",
        alert_kinds=tuple(world.hospital.alert_kinds[code] for code in kinds),
    )
    return raise_tag(driver.device, report, by=by)


def receive_now(world: World, driver: Driver, by: Actor) -> Order:
    """Receive a tagged driver on its bench."""
    return receive(driver.device, bench=world.hospital.bench_for(driver.home), kind=OrderKind.CORRECTIVE, by=by)


def _receive(world: World, job: Job) -> None:
    under_way = replace(job, order=receive_now(world, job.driver, job.by))
    if job.harm:
        _examine(world, under_way)
        return
    waits = next((reason for reason, chance in (job.repair.waits or {}).items() if world.rng.happens(chance)), None)
    if waits is None:
        world.diary.plan(soon(clock.now(), world.rng, (1, 40)), partial(_finish, world, under_way))
    else:
        world.diary.plan(soon(clock.now(), world.rng, (1, 20)), partial(_set_aside, world, under_way, waits))


def _set_aside(world: World, job: Job, reason: WaitReason) -> None:
    maker = job.driver.model.kind.maker if reason is WaitReason.MAKER else None
    set_aside(_order(job), reason, provider=maker, why=_WHY_WAIT[reason], by=job.by)
    if maker is not None:
        amount = Decimal(140 + 35 * (job.driver.number % 6))
        add_external(_order(job), "Repair by the maker, with carriage", amount, provider=maker, by=job.by)
    low, high = _DAYS[reason]
    world.diary.plan(soon(clock.now(), world.rng, (24 * low, 24 * high)), partial(_resume, world, job))


def _resume(world: World, job: Job) -> None:
    resume(_order(job), by=job.by)
    world.diary.plan(soon(clock.now(), world.rng, (1, 30)), partial(_finish, world, job))


def _order(job: Job) -> Order:
    if job.order is None:
        raise LookupError(f"the repair of {job.driver.device} has no order yet")
    return job.order


def _examine(world: World, job: Job) -> None:
    """Somebody was harmed, or might have been: the driver is kept as it is until the manager releases it."""
    quarantine = Quarantine.objects.get(device=job.driver.device, lifted_at=None)
    words = "Kept in the locked cupboard; log read out by the maker's engineer under our eyes"
    entry = Custody(received_by="Locked cupboard, device bench", given_by=job.by.name, purpose=words)
    later = soon(clock.now(), world.rng, (20, 90))
    world.diary.plan(later, partial(_keep, quarantine, entry, job.by))
    release: Callable[[], None] = partial(_release, world, job, quarantine)
    world.diary.plan(soon(later, world.rng, (120, 480)), release)


def _keep(quarantine: Quarantine, entry: Custody, by: Actor) -> None:
    add_custody(quarantine, entry, by=by)


def _release(world: World, job: Job, quarantine: Quarantine) -> None:
    why = "Review closed; risk management and the ward's lead agree that the driver may be worked on."
    lift_quarantine(quarantine, why=why, by=world.crew.manager)
    world.diary.plan(soon(clock.now(), world.rng, (20, 60)), partial(_finish, world, job))


def _finish(world: World, job: Job) -> None:
    order, repair, driver = _order(job), job.repair, job.driver
    if _is_given_up(world, job):
        why = f"{repair.cause or 'Worn'}; at its age not worth the repair."
        end(driver, order, Completion(outcome=Outcome.RETIRED, action_taken=why), by=world.crew.manager)
        complete_record(driver, job.by)
        driver.gone = True
        return
    _repair(world, job, order)
    serve_owed(world, driver, job.by)
    if job.harm:
        sign(order, by=job.by)
    given = Completion(
        outcome=repair.outcome,
        found=repair.found,
        found_words=repair.cause,
        cause_kind=repair.cause_kind or "",
        cause=repair.cause,
        action_kind=repair.action_kind,
        action_taken=repair.action,
        minutes=world.rng.randrange(*repair.minutes),
        caused_by_work=judged(order),
    )
    end(driver, order, given, by=_second_person(world, job) if job.harm else job.by)


def judged(order: Order) -> str:
    """Whether the work shortly before caused the fault, where there was any. Its own dice leave the story as it is."""
    if work_before(order) is None:
        return ""
    return str(Dice(f"cause {order.number}").choices(Order.Caused.values, (2, 6, 1))[0])


def _is_given_up(world: World, job: Job) -> bool:
    accepted = job.driver.device.accepted_on
    old = accepted is not None and (clock.today() - accepted).days > _OLD_DAYS
    clinical = job.driver.device.pool == Device.Pool.CLINICAL
    return old and clinical and job.repair.found != Order.Found.NOTHING and world.rng.happens(_RETIRED_SHARE)


def _repair(world: World, job: Job, order: Order) -> None:
    if job.repair.found in {Order.Found.DRIVE, Order.Found.PRESSURE}:
        fail_delivery(world, order, by=job.by)
    if job.repair.part is not None:
        use_part(world, order, job.repair.part, by=job.by)
    if job.repair.new_pack:
        note = "" if job.driver.cell.fraction(clock.today()) < _WORN else "Would not hold its charge"
        replace_pack(
            world, job.driver, Fitting.Why.FAULT if note else Fitting.Why.WORN, by=job.by, order=order, note=note
        )
    work_through(world, order, by=job.by)


def _second_person(world: World, job: Job) -> Actor:
    second = world.crew.second_technician
    return second if second != job.by else world.crew.technicians[0]


def end(driver: Driver, order: Order, given: Completion, *, by: Actor) -> None:
    """Finish the order; the driver is free again."""
    finish(order, given, by=by)
    driver.busy = False


def _miss(world: World, job: Job, raised: Raised) -> None:
    """The bench comes to fetch it and cannot find it; it turns up later, and is then worked on as usual."""
    order = raise_order(job.driver.device, OrderKind.CORRECTIVE, tag=raised.tag, by=job.by)
    words = f"Not on {job.driver.home}, not in the equipment room; the ward will look too."
    finish(order, Completion(outcome=Outcome.NOT_LOCATED, action_taken=words), by=job.by)
    world.diary.plan(soon(clock.now(), world.rng, (120, 1200)), partial(_turn_up, world, job))


def _turn_up(world: World, job: Job) -> None:
    report_found(job.driver.device, job.driver.home, by=job.by)
    world.diary.plan(soon(clock.now(), world.rng, (1, 30)), partial(_receive, world, job))
