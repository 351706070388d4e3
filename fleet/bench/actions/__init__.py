"""The only writers of orders, procedures and readings."""

from fleet.bench.actions.assigning import assign, assign_many, take, undo_handover
from fleet.bench.actions.finishing import Completion, complete, retire
from fleet.bench.actions.minutes import (
    add_external,
    add_labour,
    set_rate,
    start_clock,
    stop_clock,
    void_external,
)
from fleet.bench.actions.narrowing import widen
from fleet.bench.actions.orders import (
    cancel,
    hold_back,
    raise_acceptances,
    raise_order,
    receive,
    resume,
    set_aside,
)
from fleet.bench.actions.parts import Issued, Part, add_part, book_packs, issue_kit, issue_part, set_kit, take_back
from fleet.bench.actions.procedures import publish
from fleet.bench.actions.rechecks import Raised, raise_rechecks
from fleet.bench.actions.retirements import (
    Disposal,
    Kept,
    add_retirement_method,
    drop_retirement_method,
    ensure_retirement_methods,
    state_disposal,
    state_retention,
    take_back_retirement,
    verify_retirement_method,
)
from fleet.bench.actions.sending import Sent, answer_once, look_in
from fleet.bench.actions.signing import sign_work
from fleet.bench.actions.stated import ensure_starter_procedures, import_drafts
from fleet.bench.actions.steps import Answer, answer, answer_many, read_off
from fleet.bench.actions.training import end_training
from fleet.bench.queries.lines import NewStep, OwnLimit

__all__ = [
    "Answer",
    "Completion",
    "Disposal",
    "Issued",
    "Kept",
    "NewStep",
    "OwnLimit",
    "Part",
    "Raised",
    "Sent",
    "add_external",
    "add_labour",
    "add_part",
    "add_retirement_method",
    "answer",
    "answer_many",
    "answer_once",
    "assign",
    "assign_many",
    "book_packs",
    "cancel",
    "complete",
    "drop_retirement_method",
    "end_training",
    "ensure_retirement_methods",
    "ensure_starter_procedures",
    "hold_back",
    "import_drafts",
    "issue_kit",
    "issue_part",
    "look_in",
    "publish",
    "raise_acceptances",
    "raise_order",
    "raise_rechecks",
    "read_off",
    "receive",
    "resume",
    "retire",
    "set_aside",
    "set_kit",
    "set_rate",
    "sign_work",
    "start_clock",
    "state_disposal",
    "state_retention",
    "stop_clock",
    "take",
    "take_back",
    "take_back_retirement",
    "undo_handover",
    "verify_retirement_method",
    "void_external",
    "widen",
]
