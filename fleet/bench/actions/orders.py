"""Orders come to the bench: raised, received, set aside, taken up again, held back, cancelled."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.accessories.actions import Counted, count
from fleet.accessories.models import Tally
from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.bench.actions.holding import hold, hold_device, put
from fleet.bench.actions.narrowing import narrow, widen_held
from fleet.bench.actions.trained import starter
from fleet.bench.models import Order, OrderKind
from fleet.bench.queries import Work, choose_work, facts, in_force, open_orders, open_quarantine
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.identifiers import order_number
from fleet.core.lifecycle import Condition, Move, WaitReason
from fleet.core.orders import OrderMove, OrderState, ask_order
from fleet.core.permissions import May
from fleet.loans.actions import end_at_bench
from fleet.registry import actions as registry
from fleet.registry.models import Device, Party, Place
from fleet.schedules import actions as schedules
from fleet.schedules.models import Due
from fleet.tags.actions import Custody, add_custody, expect_back
from fleet.tags.models import Decontamination, Tag
from fleet.web import clock


@transaction.atomic
def raise_order(  # noqa: PLR0913 - an order has one driver, kind, cause and due
    device: Device,
    kind: OrderKind | str,
    *,
    by: Actor,
    reported: str = "",
    due: Due | None = None,
    tag: Tag | None = None,
) -> Order:
    """Raise an order for a driver. One of a kind is open at a time; a second is refused with the first one's number."""
    by.must(May.WORK_ON_BENCH)
    return _raise(hold_device(device), Work(OrderKind(kind), tag=tag, due=due), by, reported)


@transaction.atomic
def raise_acceptances(devices: Iterable[Device], *, reported: str, by: Actor) -> list[Order]:
    """Raise the acceptance order of each newly delivered driver, all or none. Whoever takes a delivery in may do so."""
    by.must(May.HAND_OVER)
    return [_raise(hold_device(device), Work(OrderKind.ACCEPTANCE), by, reported) for device in devices]


def _raise(device: Device, work: Work, by: Actor, reported: str = "") -> Order:
    if device.condition == Condition.RETIRED:
        raise MoveRefusedError(f"{device} is retired; no order is raised for it.")
    if held := open_orders(device).filter(kind=work.kind).first():
        message = f"Order {held} ({held.get_kind_display().lower()}) is already open for {device}. Go on with that one."
        raise BadValueError(message, field="kind")
    order = Order.objects.create(
        number=order_number(registry.next_number("order")),
        device=device,
        kind=work.kind,
        tag=work.tag,
        due=work.due,
        reported=reported or work.reported(),
        raised_at=clock.now(),
    )
    after = {"kind": order.kind, "tag": str(work.tag or ""), "due": str(work.due or ""), "revision": order.revision}
    record(Happening("raised order", order, device_id=device.pk, after=after), by=by)
    return order


@transaction.atomic
def receive(  # noqa: PLR0913 - a reception has a driver, a bench, a reason and a time
    device: Device,
    *,
    bench: Place,
    by: Actor,
    kind: OrderKind | str | None = None,
    decontamination: str = Decontamination.UNKNOWN,
    counted: Counted | None = None,
    done_at: datetime | None = None,
) -> Order:
    """Take a driver in on a bench and start its order, which is found or raised.

    Without `kind` it is chosen: an open tag asks for a repair, an open order is gone on with, a driver never accepted
    is accepted, an open due is met. Under quarantine the driver is received (that is custody) and not worked on.
    Received again, nothing changes but what is new. `counted`: what lay with it; a loan it was out on is over.
    """
    by.must(May.WORK_ON_BENCH)
    if bench.kind != Place.Kind.BENCH:
        raise BadValueError(f"{bench} is no bench. Choose the bench that receives the driver.", field="bench")
    row = hold_device(device)
    work = choose_work(row, OrderKind(kind) if kind else None)
    if counted:
        count(row, counted, Tally.Occasion.BENCH_IN, by=by)
    if row.condition != Condition.ON_BENCH:
        end_at_bench(row, bench, by=by)
        if row.condition == Condition.NOT_LOCATED:
            schedules.ask_before_use(row, by=by)
        row = registry.move(row, Move.RECEIVE, facts(row), by=by, place=bench, done_at=done_at)
        _note_custody(row, by)
    row = registry.see(row, bench, "bench", by=by, at=done_at)
    order = hold(work.order, by) if work.order else _raise(row, work, by)
    order.device = row
    return _start(order, work, bench, Decontamination(decontamination), by=by, done_at=done_at)


def _note_custody(device: Device, by: Actor) -> None:
    """A driver under quarantine changes hands: its custody record says so."""
    if quarantine := open_quarantine(device):
        entry = Custody(received_by=by.name, purpose=f"Received on the bench at {device.place}, kept as it is")
        add_custody(quarantine, entry, by=by)


def _start(  # noqa: PLR0913 - as `receive`
    order: Order, work: Work, bench: Place, decontamination: Decontamination, *, by: Actor, done_at: datetime | None
) -> Order:
    values = _news(order, work, bench, decontamination)
    if order.state == OrderState.RAISED:
        received = done_at or clock.now()
        values |= {
            "state": ask_order(OrderState.RAISED, OrderMove.START).value,
            "received_at": received,
            "procedure_version": in_force(order.device.device_type, order.kind, clock.today()),
            "assigned_to_id": order.assigned_to_id or starter(order, bench, by),
        }
    if order.state == OrderState.WAITING:
        values |= {"state": ask_order(OrderState.WAITING, OrderMove.RESUME).value, "wait_reason": ""}
    changed = {name: value for name, value in values.items() if getattr(order, name) != value}
    if not changed:
        return order
    row = put(order, "received for work", by=by, done_at=done_at, **changed)
    if row.asked and changed.keys() & {"due", "tag"}:
        return widen_held(row, "Another reason for the service came up", by)
    return narrow(row, by) if "procedure_version" in values else row


def _news(order: Order, work: Work, bench: Place, decontamination: Decontamination) -> dict[str, Any]:
    values: dict[str, Any] = {"bench": bench}
    if work.tag is not None and order.tag_id != work.tag.pk:
        values |= {"tag": work.tag, "reported": "\n".join(filter(None, [order.reported, work.reported()]))}
    if work.due is not None and order.due_id is None:
        values["due"] = work.due
    stated = decontamination if decontamination is not Decontamination.UNKNOWN else work.decontamination()
    if stated is not Decontamination.UNKNOWN:
        values["decontamination"] = stated.value
    return values


@transaction.atomic
def set_aside(  # noqa: PLR0913 - a wait has a reason, words, a provider and a day
    order: Order,
    reason: WaitReason,
    *,
    by: Actor,
    provider: Party | None = None,
    why: str = "",
    expected_back: date | None = None,
) -> Order:
    """Let a driver and its order wait for parts, the maker (or another `provider`) or decontamination.

    `expected_back`: the day that the ward is told, where the order answers a tag.
    """
    row = hold(order, by)
    state = ask_order(OrderState(row.state), OrderMove.WAIT)
    if reason is WaitReason.ACCEPTANCE:
        raise BadValueError("An order waits for parts, the maker or decontamination.", field="wait_reason")
    registry.move(row.device, Move.WAIT, facts(row.device, row), by=by, wait_reason=reason, why=why)
    values: dict[str, Any] = {"state": state.value, "wait_reason": reason.value}
    if provider is not None:
        values["service_provider"] = provider
    if expected_back is not None and row.tag is not None:
        expect_back(row.tag, expected_back, by=by)
    return put(row, "set aside order", by=by, why=why, **values)


@transaction.atomic
def resume(order: Order, *, by: Actor) -> Order:
    """Take a waiting order up again; its driver is back on the bench."""
    row = hold(order, by)
    state = ask_order(OrderState(row.state), OrderMove.RESUME)
    if row.device.condition != Condition.ON_BENCH:
        registry.move(row.device, Move.RESUME, facts(row.device, row), by=by)
    return put(row, "took up order again", by=by, state=state.value, wait_reason="")


@transaction.atomic
def hold_back(order: Order, *, why: str, by: Actor, place: Place | None = None) -> Order:
    """Move a driver off the bench without finishing its order: out of use, to a store (a quarantine store) or a shelf.

    The order stays open, so nothing returns the driver to service; receiving it goes on with the same order.
    """
    row = hold(order, by)
    if not why.strip():
        raise BadValueError("Say why the driver is held back.", field="why")
    if row.state != OrderState.STARTED:
        raise MoveRefusedError(f"Order {row} is {row.get_state_display().lower()}; only one on the bench is held back.")
    device = registry.move(row.device, Move.HOLD_BACK, facts(row.device, row), by=by, place=place, why=why)
    if place is not None:
        registry.see(device, place, "bench", by=by)
    return put(row, "held back driver", by=by, why=why, told={"place": str(place or device.place)})


@transaction.atomic
def cancel(order: Order, why: str, *, by: Actor) -> Order:
    """Cancel an order that was raised and not begun. Its driver stays as it is, and an open tag stays open."""
    row = hold(order, by)
    if not why.strip():
        raise BadValueError("Say why the order is cancelled.", field="why")
    state = ask_order(OrderState(row.state), OrderMove.CANCEL)
    return put(row, "cancelled order", by=by, why=why, state=state.value, cancelled_why=why)
