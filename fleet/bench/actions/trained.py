"""What is told of the training of whoever works on an order, and where work without training in date is refused."""

from fleet.audit.actors import Actor
from fleet.bench.models import Order, OrderKind, TrainingTold
from fleet.bench.queries.team import training_work
from fleet.core.errors import MoveRefusedError
from fleet.core.training import Held
from fleet.registry.models import Place
from fleet.staff.queries import Rule, held_by, in_words, rule_at
from fleet.web import clock


def tell_training(order: Order, by: Actor, *, may_refuse: bool = True) -> None:
    """Write down on a held order what is on record of the training of somebody who begins to work on it; once.

    Raises MoveRefusedError where the order's bench refuses work without training in date. What was begun goes on.
    """
    if by.person_id is None or TrainingTold.objects.filter(order=order, person=by.person_id).exists():
        return
    held = _held(order, by.person_id)
    if may_refuse and not held.covers and _refuses(order.bench):
        raise MoveRefusedError(_refusal(order, by.name, held))
    TrainingTold.objects.create(
        order=order,
        person_id=by.person_id,
        person_name=by.name[:120],
        covered=held.covers,
        words=in_words(held).replace("\N{NO-BREAK SPACE}", " "),
        told_at=clock.now(),
    )


def refuse_untrained(order: Order, person_id: int, name: str) -> None:
    """Raise MoveRefusedError where a person may not be given an order for want of training in date."""
    if _refuses(order.bench) and not (held := _held(order, person_id)).covers:
        raise MoveRefusedError(_refusal(order, name, held))


def starter(order: Order, bench: Place, by: Actor) -> int | None:
    """Whose an order becomes that somebody takes in: their own, or nobody's where their work on it would be refused."""
    if by.person_id is None or not _refuses(bench) or _held(order, by.person_id).covers:
        return by.person_id
    return None


def _held(order: Order, person_id: int) -> Held:
    work = training_work(OrderKind(order.kind))
    return held_by([person_id], order.device.device_type_id, work, clock.today())[person_id]


def _refuses(bench: Place | None) -> bool:
    return bench is not None and rule_at(bench).rule is Rule.REFUSE


def _refusal(order: Order, name: str, held: Held) -> str:
    return (
        f"{name}: {in_words(held)} for {order.device.device_type}. {order.bench} asks that somebody with training in "
        f"date works on order {order}; give it to one of them."
    )
