"""The state table of orders."""

import itertools

import pytest

from fleet.core.errors import MoveRefusedError
from fleet.core.orders import ABSENT_OUTCOMES, OrderMove, OrderState, Outcome, allowed_order_moves, ask_order

# (move, from) -> to, written out by hand, with an outcome that is allowed there.
EXPECTED = {
    (OrderMove.START, OrderState.RAISED): OrderState.STARTED,
    (OrderMove.WAIT, OrderState.STARTED): OrderState.WAITING,
    (OrderMove.RESUME, OrderState.WAITING): OrderState.STARTED,
    (OrderMove.FINISH, OrderState.RAISED): OrderState.DONE,
    (OrderMove.FINISH, OrderState.STARTED): OrderState.DONE,
    (OrderMove.FINISH, OrderState.WAITING): OrderState.DONE,
    (OrderMove.CANCEL, OrderState.RAISED): OrderState.CANCELLED,
}


@pytest.mark.parametrize(("state", "move"), list(itertools.product(OrderState, OrderMove)))
def test_every_pair_moves_or_is_refused(state: OrderState, move: OrderMove) -> None:
    """Exactly the pairs written out here move; every other is refused with the state and what is allowed."""
    goal = EXPECTED.get((move, state))
    assert (move in allowed_order_moves(state)) == (goal is not None)
    if goal is not None:
        assert ask_order(state, move, Outcome.NOT_LOCATED) is goal
        return
    with pytest.raises(MoveRefusedError, match=f"it is {state.phrase}") as caught:
        ask_order(state, move, Outcome.NOT_LOCATED)
    assert all(each.phrase in str(caught.value) for each in allowed_order_moves(state))


@pytest.mark.parametrize("state", [OrderState.DONE, OrderState.CANCELLED])
def test_ended_orders_stay_ended(state: OrderState) -> None:
    """A done or cancelled order knows no move."""
    assert allowed_order_moves(state) == ()
    with pytest.raises(MoveRefusedError, match="Nothing is allowed now"):
        ask_order(state, OrderMove.RESUME)


def test_no_order_is_finished_without_an_outcome() -> None:
    """Finishing without an outcome is refused, and the refusal lists the outcomes."""
    with pytest.raises(MoveRefusedError, match="an outcome is needed, one of repaired, no fault found, use-related"):
        ask_order(OrderState.STARTED, OrderMove.FINISH)


@pytest.mark.parametrize("outcome", Outcome)
@pytest.mark.parametrize("state", [OrderState.RAISED, OrderState.WAITING])
def test_bench_outcomes_need_the_bench(state: OrderState, outcome: Outcome) -> None:
    """An order that is not started, or waits, ends only as not located or retired."""
    if outcome in ABSENT_OUTCOMES:
        assert ask_order(state, OrderMove.FINISH, outcome) is OrderState.DONE
    else:
        with pytest.raises(MoveRefusedError, match="is stated on the bench"):
            ask_order(state, OrderMove.FINISH, outcome)


@pytest.mark.parametrize("outcome", Outcome)
def test_a_started_order_takes_any_outcome(outcome: Outcome) -> None:
    """On the bench every outcome can be stated."""
    assert ask_order(OrderState.STARTED, OrderMove.FINISH, outcome) is OrderState.DONE
