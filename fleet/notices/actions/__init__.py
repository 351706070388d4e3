"""The only writers of safety notices and of what was done about their drivers."""

from fleet.notices.actions.answering import Answer, answer, take_back
from fleet.notices.actions.drafts import FACTS, Which, add_criterion, attach, begin, correct, drop_criterion, edit
from fleet.notices.actions.matching import Matched, match_all
from fleet.notices.actions.opening import ORDERS_JOB, close, open_notice, raise_by_job
from fleet.notices.actions.orders import raise_orders, tag, take_in

__all__ = [
    "FACTS",
    "ORDERS_JOB",
    "Answer",
    "Matched",
    "Which",
    "add_criterion",
    "answer",
    "attach",
    "begin",
    "close",
    "correct",
    "drop_criterion",
    "edit",
    "match_all",
    "open_notice",
    "raise_by_job",
    "raise_orders",
    "tag",
    "take_back",
    "take_in",
]
