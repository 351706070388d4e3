"""The state of a work order as one table, and the outcome every finished order has."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from fleet.core.errors import MoveRefusedError
from fleet.core.words import Worded


class OrderState(Worded):
    """How far the bench is with an order."""

    RAISED = "raised", "Raised"
    STARTED = "started", "On the bench"
    WAITING = "waiting", "Waiting"
    DONE = "done", "Done"
    CANCELLED = "cancelled", "Cancelled"


class OrderMove(Worded):
    """An act that changes an order's state. The label is the verb on the button."""

    START = "start", "Start the order"
    WAIT = "wait", "Set aside to wait"
    RESUME = "resume", "Take up again"
    FINISH = "finish", "Finish the order"
    CANCEL = "cancel", "Cancel the order"


class Outcome(Worded):
    """What came of an order; kept apart from what was reported and from what was found."""

    REPAIRED = "repaired", "Repaired"
    NO_FAULT_FOUND = "no_fault_found", "No fault found"
    USE_RELATED = "use_related", "Use-related"
    DAMAGE = "damage", "Damage"
    NOT_LOCATED = "not_located", "Not located"
    RETIRED = "retired", "Retired"


#: What an outcome is called at the end of work that answers no report: by kind of order, else as its label.
_ROUTINE: Final = MappingProxyType(
    {Outcome.REPAIRED: "Done, with something put right", Outcome.NO_FAULT_FOUND: "Done, nothing wrong"}
)
_BY_KIND: Final = MappingProxyType(
    {
        "acceptance": {Outcome.REPAIRED: "Accepted, with something put right", Outcome.NO_FAULT_FOUND: "Accepted"},
        "retirement": {Outcome.REPAIRED: "Kept after all, mended", Outcome.NO_FAULT_FOUND: "Kept after all"},
        "corrective": {},
    }
)


def outcome_label(outcome: Outcome, kind: str) -> str:
    """Return the word for an outcome at the end of an order of a kind; the code stays the same for all."""
    return _BY_KIND.get(kind, _ROUTINE).get(outcome, outcome.label)


#: Outcomes that can be reached without the driver lying open on the bench.
ABSENT_OUTCOMES: Final = frozenset({Outcome.NOT_LOCATED, Outcome.RETIRED})
OPEN_STATES: Final = frozenset({OrderState.RAISED, OrderState.STARTED, OrderState.WAITING})


@dataclass(frozen=True, slots=True)
class OrderRule:
    """One row of the table."""

    origins: frozenset[OrderState]
    goal: OrderState


ORDER_TABLE: Final = MappingProxyType(
    {
        OrderMove.START: OrderRule(frozenset({OrderState.RAISED}), OrderState.STARTED),
        OrderMove.WAIT: OrderRule(frozenset({OrderState.STARTED}), OrderState.WAITING),
        OrderMove.RESUME: OrderRule(frozenset({OrderState.WAITING}), OrderState.STARTED),
        OrderMove.FINISH: OrderRule(OPEN_STATES, OrderState.DONE),
        OrderMove.CANCEL: OrderRule(frozenset({OrderState.RAISED}), OrderState.CANCELLED),
    }
)


def allowed_order_moves(state: OrderState) -> tuple[OrderMove, ...]:
    """Return the moves an order in this state knows, in the order of the table."""
    return tuple(move for move, rule in ORDER_TABLE.items() if state in rule.origins)


def ask_order(state: OrderState, move: OrderMove, outcome: Outcome | None = None) -> OrderState:
    """Return the state after `move`; raise MoveRefusedError with why not and what is allowed.

    An order that was started is not cancelled: it is finished, with an outcome. One that is not started, or waits, can
    be finished only as not located or retired; any other outcome is stated with the driver on the bench.
    """
    if reason := _reason(state, move, outcome):
        moves = ", ".join(each.phrase for each in allowed_order_moves(state))
        message = f"Cannot {move.phrase}: {reason}. " + (
            f"Allowed now: {moves}." if moves else "Nothing is allowed now."
        )
        raise MoveRefusedError(message)
    return ORDER_TABLE[move].goal


def _reason(state: OrderState, move: OrderMove, outcome: Outcome | None) -> str:
    if state not in ORDER_TABLE[move].origins:
        return f"it is {state.phrase}"
    if move is not OrderMove.FINISH:
        return ""
    if outcome is None:
        return "an outcome is needed, one of " + ", ".join(each.phrase for each in Outcome)
    if state is not OrderState.STARTED and outcome not in ABSENT_OUTCOMES:
        return f'the outcome "{outcome.phrase}" is stated on the bench, and the order is {state.phrase}'
    return ""
