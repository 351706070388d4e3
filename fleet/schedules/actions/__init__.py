"""The only writers of plans and dues."""

from fleet.schedules.actions.bringing import bring_by_job, resume
from fleet.schedules.actions.days import close_days, open_days, set_calendar
from fleet.schedules.actions.dues import make_due_now, open_dues, open_dues_of_all, roll, roll_kind, suspend
from fleet.schedules.actions.levelling import Asked, drop, propose, reckon, take_up
from fleet.schedules.actions.nightly import count_running_hours, keep_all_readings, mark_late
from fleet.schedules.actions.plans import EDITABLE, NewPlan, add_plan, edit_plan
from fleet.schedules.actions.risk import (
    RULE_FACTS,
    correct_risk_class,
    ensure_risk_classes,
    score_type,
    set_house_rule,
)
from fleet.schedules.actions.searches import ask_before_use, look_in_vain, scanned, take_back
from fleet.schedules.actions.use import keep_readings, note_cycles, restart_hours
from fleet.schedules.actions.visits import attempt, defer, set_own_interval

__all__ = [
    "EDITABLE",
    "RULE_FACTS",
    "Asked",
    "NewPlan",
    "add_plan",
    "ask_before_use",
    "attempt",
    "bring_by_job",
    "close_days",
    "correct_risk_class",
    "count_running_hours",
    "defer",
    "drop",
    "edit_plan",
    "ensure_risk_classes",
    "keep_all_readings",
    "keep_readings",
    "look_in_vain",
    "make_due_now",
    "mark_late",
    "note_cycles",
    "open_days",
    "open_dues",
    "open_dues_of_all",
    "propose",
    "reckon",
    "restart_hours",
    "resume",
    "roll",
    "roll_kind",
    "scanned",
    "score_type",
    "set_calendar",
    "set_house_rule",
    "set_own_interval",
    "suspend",
    "take_back",
    "take_up",
]
