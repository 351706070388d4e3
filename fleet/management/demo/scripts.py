"""What happens to the drivers that play the awkward cases. Days are counted before the end of the scenario."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Any, Final

from fleet.alerts import actions as alerts
from fleet.alerts.models import Alert
from fleet.batteries import actions as batteries
from fleet.batteries.models import Fitting, RuntimeTest
from fleet.bench.actions import Completion, hold_back, receive, retire, set_aside
from fleet.bench.models import Order, OrderKind, Retirement
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import Outcome
from fleet.management.demo.cells import Run, as_test, replace_pack, run_of
from fleet.management.demo.diary import bench_hour
from fleet.management.demo.dice import Dice
from fleet.management.demo.faults import FAULTS, Fault, a_fault
from fleet.management.demo.handing import complete_record, lend, miss_a_lead
from fleet.management.demo.libraries import LISTENER, SEEN_ON_NETWORK
from fleet.management.demo.repairs import raise_report, receive_now
from fleet.management.demo.visits import service_due, technician
from fleet.management.demo.work import fail_delivery, finish, work_through
from fleet.management.demo.world import Driver, World
from fleet.registry.actions import Handover, edit_device, see, transfer
from fleet.registry.models import Device
from fleet.schedules.actions import defer, look_in_vain
from fleet.tags.actions import Custody, add_custody, report_found, report_missing
from fleet.tags.models import Quarantine, TagReport, YesNo
from fleet.web import clock

_EXACT_DAYS: Final = 2


def before(world: World, days: float, act: Callable[..., Any], *given: Any, **named: Any) -> None:
    """Plan an act in bench hours so many days before the end (in the last two days: exactly then)."""
    moment = world.diary.end - timedelta(days=days)
    if days > _EXACT_DAYS:
        moment = min(bench_hour(clock.local_day(moment), world.rng), world.diary.end - timedelta(minutes=5))
    world.diary.plan(moment, partial(act, *given, **named))


def fault_of(what: TagReport.What) -> Fault:
    """The trouble of one sort that wards report."""
    return next(fault for fault in FAULTS if fault.what == what)


def training_overdue(world: World, driver: Driver) -> None:
    """A driver of the skills room that nobody has brought to its service."""
    world.note("training-overdue", driver, "in the skills room, its service long overdue")


def past_service_life(world: World, driver: Driver) -> None:
    """An old driver that still works."""
    driver.kept_for = ""
    world.note("past-service-life", driver, "past the service life that its maker states")


def never_on_network(world: World, driver: Driver) -> None:
    """A driver whose radio never worked."""
    driver.kept_for = ""
    world.note("never-on-network", driver, "never seen on the network: its library is not known")


def too_little_data(world: World, driver: Driver) -> None:
    """A type so new that its forecast rests on other types, or on what is assumed of its chemistry."""
    driver.kept_for = ""
    world.note(
        "too-little-data", driver, "of a new type: its forecast rests on what other types or its chemistry let expect"
    )


def tagged_twice(world: World, driver: Driver) -> None:
    """Two nurses report the same driver on two shifts."""
    fault = fault_of(TagReport.What.OCCLUSION)
    before(world, 1.4, raise_report, world, driver, fault)
    again = "Day shift: same driver, alarms blocked again; now on the shelf with its tag."
    before(world, 0.8, raise_report, world, driver, fault, words=again)
    world.note("tagged-twice", driver, "tagged, and reported a second time on the same tag")


def waiting_for_parts(world: World, driver: Driver) -> None:
    """A repair that waits for its part after a failed delivery step."""
    _set_aside(
        world, driver, fault_of(TagReport.What.RATE), WaitReason.PARTS, (13, 12), words="Half nut ordered.", failed=True
    )
    world.note("waiting-for-parts", driver, "waits for parts, with a failed step on its order")


def at_the_maker(world: World, driver: Driver) -> None:
    """A driver sent to its maker."""
    words = "Main board fault in the event log; sent to the maker."
    _set_aside(world, driver, fault_of(TagReport.What.STOPPED), WaitReason.MAKER, (26, 24), words=words)
    world.note("at-the-maker", driver, "at its maker for three weeks")


def decontamination(world: World, driver: Driver) -> None:
    """A driver that came dirty."""
    words = "Dried residue in the clamp; back to be cleaned before anybody opens it."
    _set_aside(world, driver, fault_of(TagReport.What.SYRINGE), WaitReason.DECONTAMINATION, (5, 4), words=words)
    world.note("decontamination", driver, "waits to be decontaminated")


def _set_aside(  # noqa: PLR0913 - a wait has a cause, a reason, two days and words
    world: World,
    driver: Driver,
    fault: Fault,
    reason: WaitReason,
    days: tuple[float, float],
    *,
    words: str,
    failed: bool = False,
) -> None:
    before(world, days[0], raise_report, world, driver, fault)
    before(world, days[1] - 0.9, _receive_and_set_aside, world, driver, reason, words, failed=failed)


def _receive_and_set_aside(world: World, driver: Driver, reason: WaitReason, words: str, *, failed: bool) -> None:
    by = technician(world, driver)
    order = receive_now(world, driver, by)
    if failed:
        fail_delivery(world, order, by=by)
    provider = driver.model.kind.maker if reason is WaitReason.MAKER else None
    set_aside(order, reason, provider=provider, why=words, by=by)


def quarantined(world: World, driver: Driver) -> None:
    """Nobody can rule out harm: the driver is kept as it is, and each hand it goes through is written down."""
    words = "Gave more than it showed, as far as we can tell. Kept as it is, nothing touched."
    before(world, 7, raise_report, world, driver, fault_of(TagReport.What.RATE), harm=YesNo.NOT_SURE, words=words)
    before(world, 5, _lock_away, world, driver)
    before(world, 2.9, _hand_on, world, driver, "Risk management", "Looked at it together; photographs taken")
    before(world, 1.2, _hand_on, world, driver, "Locked cupboard, device store", "Kept for the maker's engineer")
    world.note("quarantined", driver, "quarantined: harm can't be ruled out; custody written down hand by hand")


def _lock_away(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    order = receive_now(world, driver, by)
    store = world.hospital.store_for(driver.home)
    hold_back(order, why="Kept under lock until the quarantine is lifted.", place=store, by=by)


def _hand_on(world: World, driver: Driver, received_by: str, purpose: str) -> None:
    by = technician(world, driver)
    quarantine = Quarantine.objects.get(device=driver.device, lifted_at=None)
    entry = Custody(
        given_by=by.name, received_by=received_by, purpose=purpose, kept_along="Syringe, line and power lead"
    )
    add_custody(quarantine, entry, by=by)


def not_located(world: World, driver: Driver) -> None:
    """Looked for in vain on three visits over more than two weeks: by the rule of the house it is not located."""
    notes = (
        "Not on the ward.",
        "Not in the equipment room either.",
        "Asked all neighbouring wards; nobody has seen it.",
    )
    for days, note in zip((24, 15, 6), notes, strict=True):
        before(world, days, _try, world, driver, note)
    world.note("not-located", driver, "not located after three visits for its service")


def _try(world: World, driver: Driver, note: str) -> None:
    look_in_vain(driver.device, driver.home, note=note, due=service_due(driver), by=technician(world, driver))


def _report_missing(world: World, driver: Driver) -> None:
    words = f"Looked three times on {driver.home} and around; last seen there weeks ago."
    report_missing(driver.device, why=words, by=technician(world, driver))


def found_again(world: World, driver: Driver) -> None:
    """Missing for weeks, found in another ward, and out of use until the bench has checked it."""
    elsewhere = world.hospital.places["cv-c" if driver.home.code != "cv-c" else "mg-w1"]
    before(world, 40, _report_missing, world, driver)
    before(world, 3, report_found, driver.device, elsewhere, by=technician(world, driver))
    world.note("found-again", driver, f"was not located, found again on {elsewhere}; out of use until checked")


def deferred(world: World, driver: Driver) -> None:
    """A service put off by the manager, with the reason."""
    before(world, 4, _put_off, world, driver)
    world.note("deferred", driver, "its service was put off by the manager, with the reason")


def _put_off(world: World, driver: Driver) -> None:
    due = service_due(driver)
    until = max(due.closes_on, clock.today()) + timedelta(days=40)
    defer(
        due,
        until,
        why="On a long infusion and no other of its type free; looked over on the ward.",
        by=world.crew.manager,
    )


def failed_step(world: World, driver: Driver) -> None:
    """A required step has failed in a service that is under way."""
    before(world, 1.5, _fail_service, world, driver)
    world.note("failed-step", driver, "on the bench with a failed required step: it can't be returned")


def _fail_service(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    bench = world.hospital.bench_for(driver.home)
    fail_delivery(world, receive(driver.device, bench=bench, kind=OrderKind.PLANNED, by=by), by=by)


def pack_swapped_twice(world: World, driver: Driver) -> None:
    """Two new packs in a few weeks."""
    before(world, 45, _swap, world, driver, "Swollen")
    before(world, 19, _swap, world, driver, "Cell missing from the first charge on")
    world.note("pack-swapped-twice", driver, "its pack was swapped twice within a month")


def _swap(world: World, driver: Driver, note: str) -> None:
    by, bench = technician(world, driver), world.hospital.bench_for(driver.home)
    order = receive(driver.device, bench=bench, kind=OrderKind.BATTERY, by=by)
    replace_pack(world, driver, Fitting.Why.FAULT, by=by, order=order, note=note)
    # With dice of its own, so that the rest of the story stays as it is.
    aside = replace(world, rng=Dice(f"swap {note}"))
    work_through(aside, order, by=by, run=run_of(driver, clock.now(), aside.rng))
    done = "New pack fitted, charged in full and run."
    given = Completion(outcome=Outcome.REPAIRED, found=Order.Found.BATTERY, action_taken=done, minutes=25)
    finish(order, given, by=by)


def early_stopped(world: World, driver: Driver) -> None:
    """Two tests that somebody stopped by hand: they tell only that the pack carries at least so much."""
    for days in (48, 20):
        before(world, days, _log, world, driver, flat=False)
    world.note("early-stopped", driver, "two runtime tests stopped early by hand")


def _log(world: World, driver: Driver, *, flat: bool = True, worth: float = 1) -> RuntimeTest:
    """Log a test that ended an hour ago; `worth` makes it a wrong one."""
    whole = run_of(driver, clock.now(), world.rng, flat=flat)
    span = (whole.stopped_at - whole.started_at) * worth
    stopped = clock.now().replace(second=0, microsecond=0) - timedelta(hours=1)
    run = Run(
        charge_hours=11,
        rate=Decimal(5),
        started_at=stopped - span,
        stopped_at=stopped,
        low_alarm_at=None,
        flat=flat,
        fraction=whole.fraction * worth,
    )
    return batteries.log_test(as_test(driver, run, world.rng), by=technician(world, driver))


def voided_test(world: World, driver: Driver) -> None:
    """A test with a wrong hour, found the next day and voided."""
    before(world, 30, _log_and_void, world, driver)
    world.note("voided-test", driver, "a wrong runtime test, voided with the reason")


def _log_and_void(world: World, driver: Driver) -> None:
    test = _log(world, driver, worth=0.42)
    by = technician(world, driver)
    why = "The start was written down wrong: the driver's own log shows that it ran through the night."
    world.diary.plan(clock.now() + timedelta(days=1), partial(batteries.void_test, test, why=why, by=by))


def outlier_test(world: World, driver: Driver) -> None:
    """A wrong test that nobody has noticed yet."""
    before(world, 27, _log, world, driver, worth=0.47)
    world.note("outlier-test", driver, "one runtime test far off its line, not voided yet")


def asked_for_maintenance(world: World, driver: Driver) -> None:
    """A driver that asks for maintenance and is still in service."""
    before(world, 3.5, _ask, world, driver)
    world.note("asked-for-maintenance", driver, "in service, asked for maintenance: its service is due now")


def _ask(world: World, driver: Driver) -> None:
    by = technician(world, driver)
    kind = world.hospital.alert_kinds["asked-for-maintenance"]
    text = "MAINTENANCE RECOMMENDED"
    source = Alert.Source.BENCH
    alerts.record(driver.device, kind, at=clock.now(), screen_text=text, times=3, source=source, seen_by=by.name, by=by)


def retired(world: World, driver: Driver) -> None:
    """Taken out for good a few weeks ago."""
    before(world, 33, _retire, world, driver)
    world.note("retired", driver, "retired: its history stays, its dues count no more")


def _retire(world: World, driver: Driver) -> None:
    retire(driver.device, why="Main board failed.", reason=Retirement.Reason.NOT_WORTH.value, by=world.crew.manager)
    complete_record(driver, technician(world, driver))
    driver.gone = True


def late_loan(world: World, driver: Driver) -> None:
    """A driver given to the pool and lent at once; the ward should have brought it back."""
    why, store = "One more for the pool.", world.hospital.store_for(driver.home)
    given = Handover(to_place=store, on=clock.today(), state="Clean and complete.", why=why)
    transfer(driver.device, given, by=world.crew.manager)
    edit_device(driver.device, {"pool": Device.Pool.LOAN.value}, why=why, by=world.crew.manager)
    lend(world, driver, "mg-w4", 6, along="Pool bag, quick guide")
    world.note("late-loan", driver, "on loan to a ward that should have brought it back")


def missing_lead(world: World, driver: Driver) -> None:
    """A driver whose lead nobody finds."""
    miss_a_lead(driver, technician(world, driver))
    world.note("missing-lead", driver, "lacks its lead since it was counted on the ward")


def wandering(world: World, driver: Driver) -> None:
    """A driver seen in another ward than its own."""
    elsewhere = world.hospital.places["mg-ed" if driver.home.code != "mg-ed" else "mg-w2"]
    before(world, 1.1, see, driver.device, elsewhere, SEEN_ON_NETWORK, by=LISTENER)
    world.note("wandering", driver, f"belongs to {driver.home}, last seen in {elsewhere}")


def tagged_today(world: World, driver: Driver) -> None:
    """A driver tagged in the last hours, so that the bench has work."""
    hours = world.rng.uniform(0.2, 7)
    before(world, hours / 24, raise_report, world, driver, a_fault(world.rng))
    world.note("tagged-today", driver, "tagged in the last hours")
