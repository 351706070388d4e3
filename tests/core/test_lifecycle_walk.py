"""A hypothesis machine that walks the condition table with a small model of tags, orders, steps and quarantine.

The model keeps its own books, so that what must never happen is checked against what was done to the driver and not
against the facts that the table was told.
"""

import re
from dataclasses import dataclass, field

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from fleet.core.errors import MoveRefusedError
from fleet.core.lifecycle import (
    EVERY_DUTY,
    FORGETS_ACCEPTANCE,
    NEW_CONDITION,
    Condition,
    Facts,
    Move,
    ask,
    joins_open_tag,
    refusal,
    work_refusal,
)
from fleet.core.orders import ABSENT_OUTCOMES, OPEN_STATES, OrderMove, OrderState, Outcome, ask_order

STEPS = (1, 2)
#: Answers to the required steps in one go: passed, failed or left open. Mostly passed, so that walks get on.
ANSWERS = st.tuples(*(st.sampled_from([True, True, True, False, None]) for _ in STEPS))
CUSTODY = st.sampled_from([Move.RECEIVE, Move.RESUME, Move.WAIT, Move.HOLD_BACK, Move.REPORT_MISSING, Move.FIND])


@dataclass(eq=False)
class Order:
    """One order: its state, whether it is an acceptance, the tags it answers, the latest answer of each step."""

    state: OrderState = OrderState.RAISED
    acceptance: bool = False
    tags: int = 0
    answers: dict[int, bool] = field(default_factory=dict)

    @property
    def is_open(self) -> bool:
        """Whether it is neither done nor cancelled."""
        return self.state in OPEN_STATES

    @property
    def passed(self) -> bool:
        """Whether every required step was answered and none failed."""
        return all(self.answers.get(step, False) for step in STEPS)


class Walk(RuleBasedStateMachine):
    """One driver, walked through whatever moves the table grants."""

    @initialize(veteran=st.booleans())
    def register(self, *, veteran: bool) -> None:
        """A new driver waits for its acceptance order; a veteran is accepted and in service."""
        self.condition = Condition.IN_SERVICE if veteran else NEW_CONDITION
        self.orders = [] if veteran else [Order(acceptance=True)]
        self.open_tags = 0
        self.quarantine = False
        self.accepted = veteran
        self.training = False
        self.proven = veteran

    def facts(self, finishing: Order | None = None, *, reason: bool = False) -> Facts:
        """Count as an action would: as things would stand once the order being finished has cleared its tags."""
        answers = finishing.answers if finishing else {}
        return Facts(
            open_tags=self.open_tags - (finishing.tags if finishing else 0),
            quarantine_open=self.quarantine,
            failed_required_steps=sum(not passed for passed in answers.values()),
            missing_required_steps=len(STEPS) - len(answers) if finishing else 0,
            checked=finishing is not None,
            accepted=self.accepted or (finishing is not None and finishing.acceptance and finishing.passed),
            open_orders=sum(order.is_open and order is not finishing for order in self.orders),
            has_reason=reason,
        )

    def move(self, move: Move, facts: Facts) -> bool:
        """Ask for the move; where it is refused, the words must say what is allowed and the driver must stay."""
        words = refusal(self.condition, move, facts)
        if words is None:
            self.condition = ask(self.condition, move, facts, EVERY_DUTY)
            return True
        assert "llowed now" in words
        with pytest.raises(MoveRefusedError, match=f"^{re.escape(words)}$"):
            ask(self.condition, move, facts, EVERY_DUTY)
        return False

    def order_on_bench(self) -> Order | None:
        """The started order, or the first raised one, now started."""
        order = next((each for each in self.orders if each.state is OrderState.STARTED), None)
        if order is None and (order := next((each for each in self.orders if each.is_open), None)):
            order.state = ask_order(order.state, OrderMove.START)
        return order

    @rule(harm=st.sampled_from([False, False, True]))
    def tag(self, *, harm: bool) -> None:
        """The ward reports a fault, perhaps with harm; it joins an open order or raises one."""
        if not joins_open_tag(self.condition) and not self.move(Move.TAG, self.facts()):
            return
        order = next((each for each in self.orders if each.is_open and not each.acceptance), None)
        if order is None:
            self.orders.append(order := Order())
        order.tags += 1
        self.open_tags += 1
        self.quarantine = self.quarantine or harm

    @precondition(lambda self: self.condition is not Condition.RETIRED and not any(o.is_open for o in self.orders))
    @rule(number=st.sampled_from([1, 1, 2]))
    def plan(self, number: int) -> None:
        """One or two planned orders are raised where none is open, wherever the driver is."""
        self.orders += [Order() for _ in range(number)]

    @rule(move=CUSTODY)
    def carry(self, move: Move) -> None:
        """The driver is moved about without being released."""
        self.move(move, self.facts())

    @rule(answers=ANSWERS)
    def work(self, answers: tuple[bool | None, ...]) -> None:
        """The bench takes the driver in, starts an order and answers its steps, where work is allowed."""
        self.move(Move.RECEIVE, self.facts())
        if work_refusal(self.condition, self.facts()) is not None:
            return
        assert not self.quarantine
        assert self.condition is Condition.ON_BENCH
        if order := self.order_on_bench():
            order.answers.update(
                {step: answer for step, answer in zip(STEPS, answers, strict=True) if answer is not None}
            )

    @rule()
    def lift(self) -> None:
        """A person with that duty lifts the quarantine."""
        self.quarantine = False

    @rule(outcome=st.sampled_from(Outcome))
    def finish_without_return(self, outcome: Outcome) -> None:
        """An open order is ended and clears nothing: the driver stays where it is and its tags stay open."""
        order = next((each for each in reversed(self.orders) if each.is_open), None)
        if order is None:
            return
        if order.state is OrderState.STARTED or outcome in ABSENT_OUTCOMES:
            order.state = ask_order(order.state, OrderMove.FINISH, outcome)
            return
        with pytest.raises(MoveRefusedError, match="is stated on the bench"):
            ask_order(order.state, OrderMove.FINISH, outcome)

    @rule(answers=ANSWERS)
    def work_and_try_return(self, answers: tuple[bool | None, ...]) -> None:
        """The bench works on the driver and tries to return it at once."""
        self.work(answers)
        self.try_return(with_order=True)

    @rule(with_order=st.sampled_from([True, True, False]))
    def try_return(self, *, with_order: bool) -> None:
        """Somebody tries to return the driver, with the started order or without any, in whatever state things are."""
        started = (each for each in self.orders if each.state is OrderState.STARTED)
        order = next(started, None) if with_order else None
        if not self.move(Move.RETURN, self.facts(finishing=order)):
            return
        assert order is not None, "returned without a check"
        assert order.passed, "returned with a required step failed or unanswered"
        order.state = ask_order(order.state, OrderMove.FINISH, Outcome.NO_FAULT_FOUND)
        self.open_tags -= order.tags
        self.accepted = self.accepted or order.acceptance
        self.proven = self.proven or (order.acceptance and not self.training)
        self.check_returned()

    def check_returned(self) -> None:
        """At the moment of return nothing may stand against the driver."""
        assert self.open_tags == 0, "returned with an open tag"
        assert not self.quarantine, "returned under quarantine"
        assert self.accepted, "returned without acceptance"
        assert not any(order.is_open for order in self.orders), "returned with another order open"

    @rule(reason=st.sampled_from([True, True, False]))
    def change_use(self, *, reason: bool) -> None:
        """Somebody makes the driver a training unit, or ends that; an acceptance order is raised where it ends."""
        step = Move.UNTRAIN if self.training else Move.TRAIN
        if not self.move(step, self.facts(reason=reason)):
            return
        assert self.condition is Condition.ON_BENCH
        assert reason
        self.training = not self.training
        self.proven = False
        if step in FORGETS_ACCEPTANCE:
            self.accepted = False
        if not self.training and not any(order.is_open and order.acceptance for order in self.orders):
            self.orders.append(Order(acceptance=True))

    @rule(reason=st.booleans(), sure=st.integers(0, 19))
    def retire(self, *, reason: bool, sure: int) -> None:
        """Once in a while somebody retires the driver, with or without a reason; nothing moves it afterwards."""
        if sure != 19 or not self.move(Move.RETIRE, self.facts(reason=reason)):
            return
        assert reason, "retired without a reason"
        assert not self.quarantine, "retired under quarantine"
        for move in Move:
            assert not self.move(move, self.facts(reason=True))
        assert self.condition is Condition.RETIRED

    @invariant()
    def service_is_clean(self) -> None:
        """A driver in service has no open tag, no open quarantine, and has passed acceptance."""
        if self.condition is Condition.IN_SERVICE:
            assert self.open_tags == 0
            assert not self.quarantine
            assert self.accepted
            assert self.training or self.proven, "in clinical use without acceptance since it was a training unit"


def test_the_honest_path_reaches_service_and_harm_closes_it() -> None:
    """The walk is not vacuous: received, checked and accepted, a driver is returned; after harm it is not."""
    walk = Walk()
    walk.register(veteran=False)
    walk.work((True, True))
    walk.try_return(with_order=True)
    assert walk.condition is Condition.IN_SERVICE
    walk.tag(harm=True)
    walk.work((True, True))
    walk.try_return(with_order=True)
    assert walk.condition is Condition.ON_BENCH
    walk.lift()
    walk.work((True, True))
    walk.try_return(with_order=True)
    assert walk.condition is Condition.IN_SERVICE


def test_a_training_unit_reaches_patients_over_acceptance_only() -> None:
    """Not vacuous here either: ended as a training unit, a planned order does not return it, acceptance does."""
    walk = Walk()
    walk.register(veteran=True)
    walk.plan(1)
    walk.work((True, True))
    walk.change_use(reason=True)
    walk.try_return(with_order=True)
    assert (walk.condition, walk.training) == (Condition.IN_SERVICE, True)
    walk.plan(1)
    walk.work((True, True))
    walk.change_use(reason=True)
    walk.try_return(with_order=True)
    assert (walk.condition, walk.training) == (Condition.ON_BENCH, False)
    planned = walk.order_on_bench()
    assert planned is not None
    planned.state = ask_order(planned.state, OrderMove.FINISH, Outcome.REPAIRED)
    walk.work((True, True))
    walk.try_return(with_order=True)
    assert walk.condition is Condition.IN_SERVICE


TestWalk = Walk.TestCase
TestWalk.settings = settings(max_examples=300, stateful_step_count=50, deadline=None)
