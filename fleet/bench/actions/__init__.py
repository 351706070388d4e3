"""The only writers of orders, procedures and readings."""

from fleet.bench.actions.finishing import Completion, complete, retire
from fleet.bench.actions.lines import NewStep, OwnLimit
from fleet.bench.actions.orders import (
    assign,
    cancel,
    hold_back,
    raise_acceptances,
    raise_order,
    receive,
    resume,
    set_aside,
    take,
)
from fleet.bench.actions.procedures import publish
from fleet.bench.actions.rechecks import Raised, raise_rechecks
from fleet.bench.actions.stated import ensure_starter_procedures, publish_stated
from fleet.bench.actions.steps import Answer, Part, Upload, add_labour, add_part, answer, answer_many, read_off

__all__ = [
    "Answer",
    "Completion",
    "NewStep",
    "OwnLimit",
    "Part",
    "Raised",
    "Upload",
    "add_labour",
    "add_part",
    "answer",
    "answer_many",
    "assign",
    "cancel",
    "complete",
    "ensure_starter_procedures",
    "hold_back",
    "publish",
    "publish_stated",
    "raise_acceptances",
    "raise_order",
    "raise_rechecks",
    "read_off",
    "receive",
    "resume",
    "retire",
    "set_aside",
    "take",
]
