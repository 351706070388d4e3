"""The condition of a driver as one state table: which moves there are, who may make them, what each needs.

Nothing here reads a clock or a record. The caller counts the facts under its own lock, asks, and writes the answer.
The table is this project's own; its needs follow what the published guidance asks of such a record: a check before
first use and after repair, a quarantine that blocks work and release, an enforced order of steps.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from fleet.core.errors import MoveRefusedError, NotAllowedError
from fleet.core.permissions import May
from fleet.core.words import Worded


class Condition(Worded):
    """What a driver is at, as a whole."""

    IN_SERVICE = "in_service", "In service"
    OUT_OF_USE = "out_of_use", "Out of use (tagged)"
    ON_BENCH = "on_bench", "On the bench"
    WAITING = "waiting", "Waiting"
    NOT_LOCATED = "not_located", "Not located"
    RETIRED = "retired", "Retired"


class WaitReason(Worded):
    """What a waiting driver waits for."""

    PARTS = "parts", "Parts"
    MAKER = "maker", "The maker"
    DECONTAMINATION = "decontamination", "Decontamination"
    ACCEPTANCE = "acceptance", "Acceptance check"


#: What a driver is registered with. It reaches service only through the bench.
NEW_CONDITION: Final = Condition.WAITING
NEW_WAIT_REASON: Final = WaitReason.ACCEPTANCE


class Move(Worded):
    """An act that may change a driver's condition. The label is the verb on the button."""

    TAG = "tag", "Tag out of use"
    RECEIVE = "receive", "Receive on the bench"
    WAIT = "wait", "Set aside to wait"
    RESUME = "resume", "Take up again on the bench"
    RETURN = "return", "Return to service"
    HOLD_BACK = "hold_back", "Hold back out of use"
    REPORT_MISSING = "report_missing", "Report as not located"
    FIND = "find", "Report as found"
    RETIRE = "retire", "Retire"
    TAKE_BACK = "take_back", "Take back the retirement"
    TRAIN = "train", "Make it a training unit"
    UNTRAIN = "untrain", "End its use for training"


#: After these a driver counts as never accepted: nobody knows what was done to it, so only acceptance returns it.
FORGETS_ACCEPTANCE: Final = frozenset({Move.TAKE_BACK, Move.UNTRAIN})


class Need(Worded):
    """A requirement that must hold before a move."""

    NO_OPEN_TAG = "no_open_tag", "No tag is open"
    NO_QUARANTINE = "no_quarantine", "No quarantine is open"
    NO_FAILED_STEP = "no_failed_step", "No required step has failed"
    NO_UNPROVEN_STEP = "no_unproven_step", "Every required reading is proven, where guarded acceptance holds"
    NO_MISSING_STEP = "no_missing_step", "Every required step is answered"
    NO_FAILED_DELIVERY = "no_failed_delivery", "No flow or occlusion test stands as failed"
    NO_FAILURE_LEFT = "no_failure_left", "No order before ended with a failure that nobody has met since"
    CHECKED = "checked", "The order being finished checked the driver"
    ACCEPTED = "accepted", "The driver has passed acceptance"
    NO_SERVICE_OWED = "no_service_owed", "No service ran out while it was not located"
    NO_OTHER_ORDER = "no_other_order", "No other order is open"
    REASON_GIVEN = "reason_given", "A reason is recorded"
    RETIRED_TODAY = "retired_today", "It was retired today"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known of one driver at the moment of the move, counted as it would stand after it.

    `open_tags`: tags still open once the order being finished has cleared its own. `quarantine_open`: a quarantine has
    not been lifted. `failed_required_steps`, `missing_required_steps`: of the order being finished, where a failure
    counts until a later answer passes;
    `unproven_required_steps`: within their limits, yet not proven to be by guarded acceptance.
    `failed_delivery_tests`: its flow and occlusion tests outside the limits that no later one at the same rate and
    syringe has passed.
    `failures_left`: in words, the orders that ended as not located with a failure which no later such work has met.
    `checked`: an order is being finished with this move and has at least one required step, so that "no step failed"
    is not true merely because nothing was looked at. `for_retirement`: that order is to retire it, which checks
    nothing. `accepted`: an acceptance order has passed, or passes with this move. `open_orders`: orders begun or
    raised, other than the one being finished. `has_reason`: a reason was given. `services_owed`: services that ran out
    while it was not located, other than what the order being finished does.
    `retired_today`: its retirement is of this day, and can still be taken back.
    """

    open_tags: int
    quarantine_open: bool
    failed_required_steps: int
    missing_required_steps: int
    checked: bool
    accepted: bool
    open_orders: int
    has_reason: bool = False
    retired_today: bool = False
    failed_delivery_tests: int = 0
    services_owed: int = 0
    unproven_required_steps: int = 0
    failures_left: tuple[str, ...] = ()
    for_retirement: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the table. Any one of `duties` is enough; all of `needs` must hold."""

    origins: frozenset[Condition]
    goal: Condition
    duties: frozenset[May]
    needs: tuple[Need, ...] = ()


EVERY_DUTY: Final = frozenset(May)
_BENCH: Final = frozenset({May.WORK_ON_BENCH})
_WARD_OR_BENCH: Final = frozenset({May.REPORT_FAULT, May.WORK_ON_BENCH})
_NOT_RETIRED: Final = frozenset(Condition) - {Condition.RETIRED}
_ON_BENCH: Final = frozenset({Condition.ON_BENCH})
_REGISTER: Final = frozenset({May.EDIT_REGISTRY})
_RETURN_NEEDS: Final = (
    Need.NO_QUARANTINE,
    Need.NO_OPEN_TAG,
    Need.CHECKED,
    Need.NO_FAILED_STEP,
    Need.NO_UNPROVEN_STEP,
    Need.NO_MISSING_STEP,
    Need.NO_FAILED_DELIVERY,
    Need.NO_FAILURE_LEFT,
    Need.ACCEPTED,
    Need.NO_SERVICE_OWED,
    Need.NO_OTHER_ORDER,
)

#: Each move once. Being received, set aside, held back, missing or found stays possible under quarantine: these say
#: where the driver is kept and change nothing in it. A found driver is out of use until the bench has checked it.
TABLE: Final = MappingProxyType(
    {
        Move.TAG: Rule(
            frozenset({Condition.IN_SERVICE, Condition.NOT_LOCATED}),
            Condition.OUT_OF_USE,
            frozenset({May.REPORT_FAULT}),
        ),
        Move.RECEIVE: Rule(_NOT_RETIRED - {Condition.ON_BENCH}, Condition.ON_BENCH, _BENCH),
        Move.WAIT: Rule(frozenset({Condition.ON_BENCH}), Condition.WAITING, _BENCH),
        Move.RESUME: Rule(frozenset({Condition.WAITING}), Condition.ON_BENCH, _BENCH),
        Move.RETURN: Rule(frozenset({Condition.ON_BENCH}), Condition.IN_SERVICE, _BENCH, _RETURN_NEEDS),
        Move.HOLD_BACK: Rule(frozenset({Condition.ON_BENCH}), Condition.OUT_OF_USE, _BENCH),
        Move.REPORT_MISSING: Rule(_NOT_RETIRED - {Condition.NOT_LOCATED}, Condition.NOT_LOCATED, _WARD_OR_BENCH),
        Move.FIND: Rule(frozenset({Condition.NOT_LOCATED}), Condition.OUT_OF_USE, _WARD_OR_BENCH),
        Move.RETIRE: Rule(
            _NOT_RETIRED,
            Condition.RETIRED,
            frozenset({May.RETIRE_DEVICE}),
            (Need.NO_QUARANTINE, Need.REASON_GIVEN),
        ),
        Move.TAKE_BACK: Rule(
            frozenset({Condition.RETIRED}),
            Condition.WAITING,
            frozenset({May.RETIRE_DEVICE}),
            (Need.RETIRED_TODAY, Need.REASON_GIVEN),
        ),
        # For training or back from it only on the bench, where an order holds the driver until it has been checked.
        Move.TRAIN: Rule(_ON_BENCH, Condition.ON_BENCH, _REGISTER, (Need.NO_QUARANTINE, Need.REASON_GIVEN)),
        Move.UNTRAIN: Rule(_ON_BENCH, Condition.ON_BENCH, _REGISTER, (Need.NO_QUARANTINE, Need.REASON_GIVEN)),
    }
)


def _count(number: int, one: str, many: str) -> str:
    if number == 0:
        return ""
    return f"{number} {one if number == 1 else many}"


def _unchecked(facts: Facts) -> str:
    if facts.checked:
        return ""
    return "its order is its retirement" if facts.for_retirement else "no required step of its order has passed"


#: Need -> the words that say why it does not hold, empty where it holds.
_WHY_NOT: Final[MappingProxyType[Need, Callable[[Facts], str]]] = MappingProxyType(
    {
        Need.NO_OPEN_TAG: lambda facts: _count(facts.open_tags, "tag is still open", "tags are still open"),
        Need.NO_QUARANTINE: lambda facts: "a quarantine is open" if facts.quarantine_open else "",
        Need.NO_FAILED_STEP: lambda facts: _count(
            facts.failed_required_steps, "required step has failed", "required steps have failed"
        ),
        Need.NO_UNPROVEN_STEP: lambda facts: _count(
            facts.unproven_required_steps,
            "required step is not proven (within its limits, but inside the guard band)",
            "required steps are not proven (within their limits, but inside the guard band)",
        ),
        Need.NO_MISSING_STEP: lambda facts: _count(
            facts.missing_required_steps, "required step is not answered", "required steps are not answered"
        ),
        Need.NO_FAILED_DELIVERY: lambda facts: _count(
            facts.failed_delivery_tests, "flow or occlusion test has failed", "flow or occlusion tests have failed"
        ),
        Need.NO_FAILURE_LEFT: lambda facts: (
            f"{' and '.join(facts.failures_left)} ended as not located with a failure, which only such work meets"
            if facts.failures_left
            else ""
        ),
        Need.CHECKED: _unchecked,
        Need.ACCEPTED: lambda facts: "" if facts.accepted else "the driver has not passed an acceptance order",
        Need.NO_SERVICE_OWED: lambda facts: (
            "its service ran out while it was not located and comes before use" if facts.services_owed else ""
        ),
        Need.NO_OTHER_ORDER: lambda facts: _count(
            facts.open_orders, "other order is still open", "other orders are still open"
        ),
        Need.RETIRED_TODAY: lambda facts: "" if facts.retired_today else "it was not retired today, so it is final",
        Need.REASON_GIVEN: lambda facts: "" if facts.has_reason else "no reason is recorded",
    }
)

_JOINING: Final = frozenset({Condition.OUT_OF_USE, Condition.ON_BENCH, Condition.WAITING})


def joins_open_tag(condition: Condition) -> bool:
    """Whether a ward's report on a driver in this condition is no move.

    The driver is out of use already. The report joins its open tag, or opens one where none is open (a found driver,
    one on the bench for planned work), and the condition stays.
    """
    return condition in _JOINING


def unmet(move: Move, facts: Facts) -> tuple[str, ...]:
    """Why the needs of `move` do not hold, in words, one entry a need; empty when all hold."""
    reasons = (_WHY_NOT[need](facts) for need in TABLE[move].needs)
    return tuple(reason for reason in reasons if reason)


def allowed(condition: Condition, facts: Facts, duties: frozenset[May] = EVERY_DUTY) -> tuple[Move, ...]:
    """Return the moves open now to somebody with these duties, in the order of the table.

    A reason is given together with the move that needs one, so a reason not given yet hides nothing here.
    """
    reasoned = replace(facts, has_reason=True)
    return tuple(
        move
        for move, rule in TABLE.items()
        if condition in rule.origins and rule.duties & duties and not unmet(move, reasoned)
    )


def refusal(condition: Condition, move: Move, facts: Facts, duties: frozenset[May] = EVERY_DUTY) -> str | None:
    """Return None when the facts allow the move, else one text: why not, and what is allowed with these duties."""
    reason = _reason(condition, move, facts)
    if not reason:
        return None
    return f"Cannot {move.phrase}: {reason}. {_allowed_words(condition, facts, duties)}"


def ask(condition: Condition, move: Move, facts: Facts, duties: frozenset[May]) -> Condition:
    """Return the condition after `move`.

    Raises NotAllowedError when none of `duties` covers the move, MoveRefusedError when the condition or the facts do
    not allow it. Both say why and which moves are allowed now.
    """
    rule = TABLE[move]
    if not rule.duties & duties:
        needed = " or ".join(f'"{duty.label}"' for duty in sorted(rule.duties))
        message = f"Cannot {move.phrase}: it needs the duty {needed}. {_allowed_words(condition, facts, duties)}"
        raise NotAllowedError(message)
    if words := refusal(condition, move, facts, duties):
        raise MoveRefusedError(words)
    return rule.goal


def work_refusal(condition: Condition, facts: Facts) -> str | None:
    """Return None when bench work (a step, a repair, cleaning, a release) may go on, else why not and what may be done.

    Custody is not work: a driver under quarantine may be received and kept, and nothing in it may be changed.
    """
    if facts.quarantine_open:
        return (
            "No bench work while a quarantine is open: do not test, repair, clean or release this driver. "
            "Keep it as it is until the quarantine is lifted. " + _allowed_words(condition, facts, EVERY_DUTY)
        )
    if condition is not Condition.ON_BENCH:
        allowed_now = _allowed_words(condition, facts, EVERY_DUTY)
        return f"No bench work on a driver that is not on the bench; it is {condition.phrase}. {allowed_now}"
    return None


def ask_work(condition: Condition, facts: Facts, duties: frozenset[May]) -> None:
    """Refuse bench work where it must not go on: NotAllowedError for the person, MoveRefusedError for the driver."""
    if May.WORK_ON_BENCH not in duties:
        message = f'Bench work needs the duty "{May.WORK_ON_BENCH.label}".'
        raise NotAllowedError(message)
    if words := work_refusal(condition, facts):
        raise MoveRefusedError(words)


def _reason(condition: Condition, move: Move, facts: Facts) -> str:
    if condition in TABLE[move].origins:
        return ", ".join(unmet(move, facts))
    if condition is Condition.RETIRED:
        return _RETIRED_TAG if move is Move.TAG else "the driver is retired, which is final"
    if move is Move.TAG:
        return f"the driver is already {condition.phrase}; add the report to its tag"
    return f"the driver is {condition.phrase}"


_RETIRED_TAG: Final = "the driver is retired and must not be in a ward; do not use it, keep it apart and ring the bench"


def _allowed_words(condition: Condition, facts: Facts, duties: frozenset[May]) -> str:
    moves = allowed(condition, facts, duties)
    if not moves:
        return "Nothing is allowed now."
    return "Allowed now: " + ", ".join(move.phrase for move in moves) + "."
