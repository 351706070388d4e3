"""An order ends: with an outcome always, and the driver returned, kept for another order, missed or retired."""

from dataclasses import dataclass, replace

from django.db import models, transaction

from fleet.accessories.actions import Counted, count
from fleet.accessories.models import Tally
from fleet.alerts import actions as alerts
from fleet.alerts.queries import open_alerts
from fleet.audit.actors import Actor
from fleet.bench.actions.holding import hold, hold_device, put, refuse_outdated
from fleet.bench.actions.minutes import put_labour, stop_all
from fleet.bench.actions.orders import raise_order
from fleet.bench.actions.retirements import open_record
from fleet.bench.actions.signing import sign
from fleet.bench.actions.trained import tell_training
from fleet.bench.models import Order, OrderKind, Retirement
from fleet.bench.queries import facts, harm_linked, open_orders, standing, work_before, workers
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Condition, Facts, Move, ask_work, unmet
from fleet.core.orders import ABSENT_OUTCOMES, OrderMove, OrderState, Outcome, ask_order, outcome_label
from fleet.core.permissions import May
from fleet.loans.actions import end_at_bench
from fleet.registry import actions as registry
from fleet.registry.models import Device, Place
from fleet.schedules import actions as schedules
from fleet.schedules.models import DueAttempt, Plan
from fleet.tags import actions as tags
from fleet.tags.queries import open_tag
from fleet.web import clock

LONGEST_CAUSE = 200
_PLANS = {
    OrderKind.PLANNED: Plan.Kind.SERVICE,
    OrderKind.BATTERY: Plan.Kind.BATTERY,
    OrderKind.LIBRARY: Plan.Kind.LIBRARY,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Completion:
    """How an order ends. `returned_to` is the driver's home place when left out; `minutes` are hands-on.

    `finding`: what a planned service came upon; `caused_by_work`: whether the work shortly before a repair (see
    `queries.work_before`) brought the fault about. Neither is finished without, unless nobody had the driver in hand.
    `stays`: the driver is kept on the bench because another order on it is open; it is returned with the last.
    `counted`: what lies with a driver that is returned or stays; what it lacks is written down and stops nothing.
    """

    outcome: Outcome
    found: str = ""
    found_words: str = ""
    cause_kind: str = ""
    cause: str = ""
    finding: str = ""
    caused_by_work: str = ""
    action_kind: str = ""
    action_taken: str = ""
    returned_to: Place | None = None
    minutes: int | None = None
    stays: bool = False
    counted: Counted | None = None


@transaction.atomic
def complete(order: Order, given: Completion, *, revision: int, by: Actor) -> Order:
    """Finish and sign an order: tag cleared, alerts answered, dues rolled on, and its driver goes where it is said to.

    The caller has had the person prove who they are.
    Raises ConflictError for a form older than the order, MoveRefusedError when the driver may not be released (and
    nothing is written), NotAllowedError where a second person or another duty is needed.
    """
    row = hold(order, by)
    refuse_outdated(row, revision)
    checked = _checked(given)
    _refuse_contradiction(row, checked)
    _ask_codes(row, checked)
    ask_order(OrderState(row.state), OrderMove.FINISH, checked.outcome)
    if checked.outcome is Outcome.RETIRED:
        _retire(row.device, checked, by, row)
        return hold(row, by)
    if checked.outcome is Outcome.NOT_LOCATED:
        return _miss(row, checked, by)
    return _release(row, checked, by)


def _checked(given: Completion) -> Completion:
    """The same completion with its outcome as an `Outcome`: what comes from a form may be a plain text."""
    if given.outcome not in list(Outcome):
        words = ", ".join(outcome.phrase for outcome in Outcome)
        raise BadValueError(f"“{given.outcome}” is no outcome; choose one of {words}.", field="outcome")
    _ask_listed(given.found, Order.Found, "found")
    _ask_listed(given.cause_kind, Order.Cause, "cause_kind")
    _ask_listed(given.action_kind, Order.Action, "action_kind")
    if len(given.cause) > LONGEST_CAUSE:
        raise BadValueError(f"Put the cause in at most {LONGEST_CAUSE} characters; say more below.", field="cause")
    return replace(given, outcome=Outcome(given.outcome))


def _ask_listed(code: str, choices: type[models.TextChoices], field: str) -> None:
    if code and code not in choices.values:
        words = ", ".join(label.lower() for label in choices.labels)
        raise BadValueError(f"“{code}” is not on the list: {words}.", field=field)


def _refuse_contradiction(order: Order, given: Completion) -> None:
    """“No fault found” beside something that was found leaves a record that nobody can count."""
    if given.outcome is Outcome.NO_FAULT_FOUND and given.found not in {"", Order.Found.NOTHING}:
        told = outcome_label(Outcome.NO_FAULT_FOUND, order.kind)
        found = Order.Found(given.found).label
        message = (
            f"“{told}” and found “{found}” contradict each other. Choose another outcome, or “Nothing wrong” here."
        )
        raise BadValueError(message, field="found")


def _ask_codes(order: Order, given: Completion) -> None:
    """A planned service states its finding, and a fault soon after work its cause; nothing else states either."""
    asks = given.outcome not in ABSENT_OUTCOMES
    _ask_finding(order, given.finding, asks=asks)
    _ask_cause(order, given.caused_by_work, asks=asks)


def _ask_finding(order: Order, finding: str, *, asks: bool) -> None:
    if finding and order.kind != OrderKind.PLANNED:
        raise BadValueError("Only a planned service states what it came upon.", field="finding")
    if finding and finding not in Order.Finding.values:
        words = ", ".join(label.lower() for label in Order.Finding.labels)
        raise BadValueError(f"“{finding}” is not on the list: {words}.", field="finding")
    if asks and not finding and order.kind == OrderKind.PLANNED:
        raise BadValueError("Say what this service came upon, also when it was nothing.", field="finding")


def _ask_cause(order: Order, caused: str, *, asks: bool) -> None:
    if caused and caused not in Order.Caused.values:
        raise BadValueError("Say yes, no, or that it cannot be told.", field="caused_by_work")
    before = work_before(order)
    if caused and before is None:
        raise BadValueError(f"No work on {order.device} came shortly before this fault.", field="caused_by_work")
    if asks and not caused and before is not None:
        message = f"Order {before} ended shortly before this fault. Say whether that work caused it."
        raise BadValueError(message, field="caused_by_work")


def _release(order: Order, given: Completion, by: Actor) -> Order:
    device = order.device
    counted = facts(device, order)
    ask_work(Condition(device.condition), counted, by.duties)
    _ask_what_was_done(order, given)
    _ask_second_person(order, given.outcome, by)
    place = given.returned_to or device.home
    if not counted.checked:
        _ask_something_checked(order)
    if given.stays:
        _ask_steps(order, counted)
    else:
        _ask_place(place)
    if given.counted:
        # Before it leaves: what lacks now is missed from the bench.
        count(device, given.counted, Tally.Occasion.LOOKED if given.stays else Tally.Occasion.BENCH_OUT, by=by)
    if order.kind == OrderKind.ACCEPTANCE:
        device = registry.accept(device, clock.today(), by=by)
    if not given.stays:
        registry.move(device, Move.RETURN, counted, by=by, place=place)
        registry.see(device, place, "bench", by=by)
    done = _finish(order, given, by, returned_to=None if given.stays else place)
    _settle(done, device, by)
    return done


def _ask_steps(order: Order, counted: Facts) -> None:
    """A driver that stays for another order leaves no failed or missing step behind, for that order would hide it."""
    if not counted.open_orders:
        raise BadValueError(f"No other order on {order.device} is open; say where it goes.", field="stays")
    alone = replace(counted, open_orders=0, open_tags=0, accepted=True, checked=True, failures_left=())
    if reasons := unmet(Move.RETURN, alone):
        raise MoveRefusedError(f"Cannot finish order {order}: {', '.join(reasons)}.")


def _ask_place(place: Place) -> None:
    if place.closed_on is not None or place.kind in {Place.Kind.SITE, Place.Kind.BUILDING}:
        raise BadValueError(f"A driver goes to a ward, store or bench in use; {place} is none.", field="returned_to")


def _ask_something_checked(order: Order) -> None:
    """Also where the driver stays for another order: that one would not look at what this one left out."""
    steps = standing(order)
    if (
        steps.required
        and not steps.passed
        and steps.answered == steps.required
        and not (steps.failed or steps.unproven)
    ):
        raise MoveRefusedError(
            f"Cannot finish order {order}: every required step is marked as not applicable, so nothing was checked."
        )


def _ask_what_was_done(order: Order, given: Completion) -> None:
    """A repair whose record doesn't say what was done helps nobody who meets the driver next."""
    repaired = order.kind == OrderKind.CORRECTIVE and given.outcome is Outcome.REPAIRED
    if repaired and not given.action_taken.strip():
        raise BadValueError("Say what you did: a repair is not finished without it.", field="action_taken")


def _ask_second_person(order: Order, outcome: Outcome, by: Actor) -> None:
    """Where harm was possible, nobody alone decides that nothing is wrong (our own rule; local policy may ask more)."""
    if outcome is not Outcome.NO_FAULT_FOUND or not harm_linked(order):
        return
    if by.person_id is None or by.person_id in workers(order):
        raise NotAllowedError(
            f"“No fault found” on order {order} needs a second person: somebody was harmed, or might have been, and "
            "whoever answered its steps cannot decide it alone. Ask a colleague to look at it and finish the order."
        )


def _finish(order: Order, given: Completion, by: Actor, *, returned_to: Place | None = None, why: str = "") -> Order:
    if given.minutes:
        put_labour(order, given.minutes, by)
    stop_all(order, by)
    done = put(
        order,
        "completed order",
        by=by,
        why=why,
        state=OrderState.DONE.value,
        wait_reason="",
        outcome=given.outcome.value,
        found=given.found,
        finding=given.finding,
        work_before=work_before(order) if given.outcome not in ABSENT_OUTCOMES else None,
        caused_by_work=given.caused_by_work if given.outcome not in ABSENT_OUTCOMES else "",
        found_words=given.found_words.strip(),
        cause_kind=given.cause_kind,
        cause=given.cause.strip(),
        action_kind=given.action_kind,
        action_taken=given.action_taken.strip(),
        returned_to=returned_to,
        completed_at=clock.now(),
        completed_by_id=by.person_id,
    )
    tell_training(done, by, may_refuse=False)
    sign(done, by)
    return done


def _settle(order: Order, device: Device, by: Actor) -> None:
    """Clear the tag, answer the alerts, roll the dues that this work met."""
    if order.tag is not None and order.tag.cleared_at is None:
        tags.clear(order.tag, order_number=order.number, by=by)
    if order.kind in {OrderKind.CORRECTIVE, OrderKind.PLANNED} and not order.asked:
        alerts.answer(device, order_number=order.number, by=by)
    if order.kind == OrderKind.BATTERY:
        for alert in open_alerts(device).filter(kind__about_battery=True):
            alerts.clear(alert, why=f"Answered by battery order {order}.", by=by)
    if order.kind == OrderKind.ACCEPTANCE:
        schedules.resume(device, by=by)
        schedules.open_dues(device, by=by)
    _roll(order, device, by)


def _roll(order: Order, device: Device, by: Actor) -> None:
    if order.asked:
        return  # a few readings measured again are no service
    if order.due is not None and not order.due.suspended:
        schedules.roll(order.due, done_on=clock.today(), order_number=order.number, by=by)
    elif plan := _PLANS.get(OrderKind(order.kind)):
        schedules.roll_kind(device, plan, done_on=clock.today(), order_number=order.number, by=by)


def _miss(order: Order, given: Completion, by: Actor) -> Order:
    """The driver cannot be found. Its tag stays open: nobody has looked at what was reported."""
    why = _reason(given) or f"Not located for order {order}."
    if order.device.condition != Condition.NOT_LOCATED:
        tags.report_missing(order.device, why=why, by=by)
    if order.due is not None and not order.due.suspended:
        schedules.attempt(order.due, DueAttempt.Reason.NOT_FOUND, note=why, by=by)
    return _finish(order, given, by, why=why)


@transaction.atomic
def retire(device: Device, *, why: str, by: Actor, reason: str = Retirement.Reason.OTHER.value) -> Device:
    """Retire a driver for good: every open order on it ends as retired, its dues stop, nothing is deleted.

    A tagged driver without an order gets one that says so, and a loan is over. Needs the duty to retire, a reason, and
    no open quarantine. What becomes of it and how its data were wiped is stated by `state_disposal`.
    """
    by.must(May.RETIRE_DEVICE)
    row = hold_device(device)
    if (tag := open_tag(row)) and not open_orders(row).filter(kind=OrderKind.CORRECTIVE).exists():
        raise_order(row, OrderKind.CORRECTIVE, tag=tag, by=by)
    _retire(row, Completion(outcome=Outcome.RETIRED, action_taken=why), by, reason=reason)
    return hold_device(device)


def _retire(
    device: Device,
    given: Completion,
    by: Actor,
    order: Order | None = None,
    *,
    reason: str = Retirement.Reason.OTHER.value,
) -> None:
    """Retire, and finish every open order: `order` with what was given for it, the others with the reason alone."""
    why = _reason(given)
    counted = replace(facts(device, order), has_reason=bool(why))
    retired = registry.move(device, Move.RETIRE, counted, by=by, why=why)
    closing = [hold(each, by) for each in open_orders(device).order_by("pk")]
    for each in closing:
        own = (
            given
            if order is not None and each.pk == order.pk
            else Completion(outcome=Outcome.RETIRED, action_taken=why)
        )
        _finish(each, own, by, why=why)
    number = closing[0].number if closing else ""
    if tag := open_tag(device):
        tags.clear(tag, order_number=number, by=by)
    for alert in open_alerts(device):
        alerts.clear(alert, why=f"The driver was retired: {why}", by=by)
    end_at_bench(retired, retired.place, by=by)
    open_record(retired, reason=reason, why=why, answered=closing, by=by)
    schedules.suspend(retired, by=by)


def _reason(given: Completion) -> str:
    return next(filter(None, (given.action_taken.strip(), given.cause.strip(), given.found_words.strip())), "")
