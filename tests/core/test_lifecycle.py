"""The condition table, row by row, and its refusals in words."""

import itertools
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import (
    EVERY_DUTY,
    NEW_CONDITION,
    TABLE,
    Condition,
    Facts,
    Move,
    Need,
    allowed,
    ask,
    ask_work,
    joins_open_tag,
    refusal,
    unmet,
    work_refusal,
)
from fleet.core.permissions import May

READY = Facts(
    open_tags=0,
    quarantine_open=False,
    failed_required_steps=0,
    missing_required_steps=0,
    checked=True,
    accepted=True,
    open_orders=0,
    has_reason=True,
    retired_today=True,
)
NURSE = frozenset({May.REPORT_FAULT, May.SEE_FLEET})
TECHNICIAN = frozenset({May.REPORT_FAULT, May.SEE_FLEET, May.WORK_ON_BENCH})

COUNTS = st.integers(0, 3)
FACTS = st.builds(
    Facts,
    open_tags=COUNTS,
    quarantine_open=st.booleans(),
    failed_required_steps=COUNTS,
    missing_required_steps=COUNTS,
    checked=st.booleans(),
    accepted=st.booleans(),
    open_orders=COUNTS,
    has_reason=st.booleans(),
)
CONDITIONS = st.sampled_from(Condition)
MOVES = st.sampled_from(Move)
DUTIES = st.frozensets(st.sampled_from(May))

# The table once more, written out by hand: (move, from) -> to. What is not here is no move.
EXPECTED = {
    (Move.TAG, Condition.IN_SERVICE): Condition.OUT_OF_USE,
    (Move.TAG, Condition.NOT_LOCATED): Condition.OUT_OF_USE,
    (Move.RECEIVE, Condition.IN_SERVICE): Condition.ON_BENCH,
    (Move.RECEIVE, Condition.OUT_OF_USE): Condition.ON_BENCH,
    (Move.RECEIVE, Condition.WAITING): Condition.ON_BENCH,
    (Move.RECEIVE, Condition.NOT_LOCATED): Condition.ON_BENCH,
    (Move.WAIT, Condition.ON_BENCH): Condition.WAITING,
    (Move.RESUME, Condition.WAITING): Condition.ON_BENCH,
    (Move.RETURN, Condition.ON_BENCH): Condition.IN_SERVICE,
    (Move.HOLD_BACK, Condition.ON_BENCH): Condition.OUT_OF_USE,
    (Move.REPORT_MISSING, Condition.IN_SERVICE): Condition.NOT_LOCATED,
    (Move.REPORT_MISSING, Condition.OUT_OF_USE): Condition.NOT_LOCATED,
    (Move.REPORT_MISSING, Condition.ON_BENCH): Condition.NOT_LOCATED,
    (Move.REPORT_MISSING, Condition.WAITING): Condition.NOT_LOCATED,
    (Move.FIND, Condition.NOT_LOCATED): Condition.OUT_OF_USE,
    (Move.RETIRE, Condition.IN_SERVICE): Condition.RETIRED,
    (Move.RETIRE, Condition.OUT_OF_USE): Condition.RETIRED,
    (Move.RETIRE, Condition.ON_BENCH): Condition.RETIRED,
    (Move.RETIRE, Condition.WAITING): Condition.RETIRED,
    (Move.RETIRE, Condition.NOT_LOCATED): Condition.RETIRED,
    (Move.TAKE_BACK, Condition.RETIRED): Condition.WAITING,
    (Move.TRAIN, Condition.ON_BENCH): Condition.ON_BENCH,
    (Move.UNTRAIN, Condition.ON_BENCH): Condition.ON_BENCH,
}


@pytest.mark.parametrize(("condition", "move"), list(itertools.product(Condition, Move)))
def test_every_pair_moves_or_is_refused_as_the_table_says(condition: Condition, move: Move) -> None:
    """With every need met and every duty held, exactly the pairs written out here move, each to its own goal."""
    goal = EXPECTED.get((move, condition))
    if goal is None:
        with pytest.raises(MoveRefusedError):
            ask(condition, move, READY, EVERY_DUTY)
    else:
        assert ask(condition, move, READY, EVERY_DUTY) is goal


@pytest.mark.parametrize(
    ("spoilt", "words"),
    [
        (replace(READY, open_tags=1), "1 tag is still open"),
        (replace(READY, open_tags=2), "2 tags are still open"),
        (replace(READY, quarantine_open=True), "a quarantine is open"),
        (replace(READY, failed_required_steps=1), "1 required step has failed"),
        (replace(READY, missing_required_steps=3), "3 required steps are not answered"),
        (replace(READY, failed_delivery_tests=1), "1 flow or occlusion test has failed"),
        (replace(READY, services_owed=1), "its service ran out while it was not located"),
        (replace(READY, checked=False), "return to service: no required step of its order has passed. "),
        (replace(READY, checked=False, for_retirement=True), "return to service: its order is its retirement. "),
        (replace(READY, accepted=False), "has not passed an acceptance order"),
        (replace(READY, open_orders=1), "1 other order is still open"),
    ],
)
def test_each_need_alone_keeps_a_driver_from_service(spoilt: Facts, words: str) -> None:
    """One unmet need is enough to refuse the return, and the refusal says which."""
    with pytest.raises(MoveRefusedError, match=words):
        ask(Condition.ON_BENCH, Move.RETURN, spoilt, TECHNICIAN)


def test_all_unmet_needs_are_named_at_once() -> None:
    """Nobody has to mend one thing to learn of the next."""
    words = refusal(Condition.ON_BENCH, Move.RETURN, replace(READY, open_tags=1, accepted=False, quarantine_open=True))
    assert words is not None
    assert "a quarantine is open, 1 tag is still open, the driver has not passed an acceptance order" in words


@pytest.mark.parametrize(
    ("facts", "words"),
    [(replace(READY, quarantine_open=True), "a quarantine is open"), (replace(READY, has_reason=False), "no reason")],
)
def test_retirement_needs_a_reason_and_no_quarantine(facts: Facts, words: str) -> None:
    """A driver under quarantine is evidence and cannot be retired; any other needs a recorded reason."""
    with pytest.raises(MoveRefusedError, match=words):
        ask(Condition.OUT_OF_USE, Move.RETIRE, facts, EVERY_DUTY)


@pytest.mark.parametrize(
    ("facts", "words"),
    [(replace(READY, retired_today=False), "not retired today"), (replace(READY, has_reason=False), "no reason")],
)
def test_a_retirement_is_taken_back_the_same_day_with_a_reason(facts: Facts, words: str) -> None:
    """A mistake of today can be undone by whoever may retire; yesterday's is final."""
    with pytest.raises(MoveRefusedError, match=words):
        ask(Condition.RETIRED, Move.TAKE_BACK, facts, EVERY_DUTY)


@pytest.mark.parametrize("move", [Move.TRAIN, Move.UNTRAIN])
def test_quarantine_keeps_a_driver_out_of_training_and_in_it(move: Move) -> None:
    """A driver under quarantine changes its use neither way."""
    with pytest.raises(MoveRefusedError, match="a quarantine is open"):
        ask(Condition.ON_BENCH, move, replace(READY, quarantine_open=True), EVERY_DUTY)


@given(FACTS, DUTIES, MOVES)
def test_retired_is_final(facts: Facts, duties: frozenset[May], move: Move) -> None:
    """No move leaves a retirement of an earlier day, whatever the facts and whoever asks."""
    with pytest.raises((MoveRefusedError, NotAllowedError), match="Nothing is allowed now"):
        ask(Condition.RETIRED, move, facts, duties)


@given(CONDITIONS, MOVES, FACTS, DUTIES)
def test_asking_agrees_with_what_is_offered(
    condition: Condition, move: Move, facts: Facts, duties: frozenset[May]
) -> None:
    """A move is granted exactly when it is among the allowed ones and its reason, where it needs one, is given."""
    offered = move in allowed(condition, facts, duties)
    try:
        goal = ask(condition, move, facts, duties)
    except (MoveRefusedError, NotAllowedError):
        assert not offered or (Need.REASON_GIVEN in TABLE[move].needs and not facts.has_reason)
    else:
        assert offered
        assert goal is TABLE[move].goal


@given(CONDITIONS, MOVES, FACTS, DUTIES)
def test_every_refusal_names_the_reason_and_what_is_allowed(
    condition: Condition, move: Move, facts: Facts, duties: frozenset[May]
) -> None:
    """A refusal names the move, what stands against it, and each move this person may make now."""
    try:
        ask(condition, move, facts, duties)
    except NotAllowedError as error:
        words = str(error)
        reasons: tuple[str, ...] = tuple(duty.label for duty in TABLE[move].duties)
    except MoveRefusedError as error:
        words = str(error)
        reasons = unmet(move, facts) if condition in TABLE[move].origins else (condition.phrase.split(" (")[0],)
        assert words == refusal(condition, move, facts, duties)
    else:
        assert refusal(condition, move, facts, duties) is None
        return
    assert words.startswith(f"Cannot {move.phrase}: ")
    assert reasons
    assert all(reason in words for reason in reasons)
    may = allowed(condition, facts, duties)
    assert all(each.phrase in words.split("Allowed now: ")[1] for each in may) if may else "Nothing is allowed" in words


@pytest.mark.parametrize("condition", [each for each in Condition if each is not Condition.RETIRED])
def test_a_ward_can_only_take_out_of_use(condition: Condition) -> None:
    """A nurse may tag, report missing or report found; nothing a nurse may do ends in service or on the bench."""
    moves = allowed(condition, READY, NURSE)
    assert set(moves) <= {Move.TAG, Move.REPORT_MISSING, Move.FIND}
    assert {TABLE[move].goal for move in moves} <= {Condition.OUT_OF_USE, Condition.NOT_LOCATED}


def test_lacking_the_duty_is_told_apart_from_a_refused_move() -> None:
    """A technician may not retire: the error is about the person, and names the duty that is needed."""
    with pytest.raises(NotAllowedError, match=May.RETIRE_DEVICE.label):
        ask(Condition.ON_BENCH, Move.RETIRE, READY, TECHNICIAN)


@pytest.mark.parametrize("condition", [Condition.OUT_OF_USE, Condition.ON_BENCH, Condition.WAITING])
def test_a_report_on_a_driver_out_of_use_joins_its_tag(condition: Condition) -> None:
    """A second report is no move, and asking for one points to the open tag."""
    assert joins_open_tag(condition)
    with pytest.raises(MoveRefusedError, match="add the report to its tag"):
        ask(condition, Move.TAG, READY, NURSE)


@pytest.mark.parametrize("condition", [Condition.IN_SERVICE, Condition.NOT_LOCATED])
def test_a_report_on_a_driver_thought_usable_or_lost_takes_it_out_of_use(condition: Condition) -> None:
    """Tagging a missing driver shows that it was found: it goes out of use, not back to service."""
    assert not joins_open_tag(condition)
    assert ask(condition, Move.TAG, READY, NURSE) is Condition.OUT_OF_USE


def test_a_tag_on_a_retired_driver_warns_the_ward() -> None:
    """A retired driver in a ward is a hazard: the refusal says not to use it and to ring the bench."""
    assert not joins_open_tag(Condition.RETIRED)
    with pytest.raises(
        MoveRefusedError, match="must not be in a ward; do not use it, keep it apart and ring the bench"
    ):
        ask(Condition.RETIRED, Move.TAG, READY, NURSE)


def test_a_new_driver_is_not_in_service() -> None:
    """A driver begins waiting, and from there no single move reaches service."""
    assert Condition.IN_SERVICE not in {TABLE[move].goal for move in allowed(NEW_CONDITION, READY)}


@pytest.mark.parametrize("move", [Move.RECEIVE, Move.REPORT_MISSING])
def test_custody_goes_on_under_quarantine(move: Move) -> None:
    """A quarantined driver may be taken in or reported missing, since where it is must stay known."""
    assert refusal(Condition.OUT_OF_USE, move, replace(READY, quarantine_open=True)) is None


@given(CONDITIONS, FACTS)
def test_work_goes_on_only_on_the_bench_and_outside_quarantine(condition: Condition, facts: Facts) -> None:
    """Steps, repair, cleaning and release are refused under quarantine, and anywhere but on the bench."""
    words = work_refusal(condition, facts)
    assert (words is None) == (condition is Condition.ON_BENCH and not facts.quarantine_open)
    if words is not None:
        assert "llowed now" in words
        with pytest.raises(MoveRefusedError):
            ask_work(condition, facts, TECHNICIAN)


def test_quarantine_is_the_first_thing_the_bench_reads() -> None:
    """Where a quarantine is open the refusal says what must not be done, before anything else."""
    words = work_refusal(Condition.ON_BENCH, replace(READY, quarantine_open=True))
    assert words is not None
    assert words.startswith("No bench work while a quarantine is open: do not test, repair, clean or release")


def test_work_on_the_bench_needs_the_bench_duty() -> None:
    """A nurse does no bench work; a technician does."""
    with pytest.raises(NotAllowedError, match=May.WORK_ON_BENCH.label):
        ask_work(Condition.ON_BENCH, READY, NURSE)
    ask_work(Condition.ON_BENCH, READY, TECHNICIAN)


def test_conditions_read_as_words() -> None:
    """A condition is stored as its value, found again by it, and shown by its label."""
    assert [each.label for each in Condition] == [
        "In service",
        "Out of use (tagged)",
        "On the bench",
        "Waiting",
        "Not located",
        "Retired",
    ]
    assert all(Condition(str(each)) is each for each in Condition)
