"""Pages about what is due."""

from fleet.schedules.views.completion import completion, completion_drivers
from fleet.schedules.views.counter import restart
from fleet.schedules.views.days import days, open_days, place_days
from fleet.schedules.views.levelling import drop, levelling, levelling_dues, levelling_weeks, one_levelling, take_up
from fleet.schedules.views.lists import alternative, due, due_csv, overdue, overdue_csv
from fleet.schedules.views.missing import missing
from fleet.schedules.views.one import attempt, defer, interval, one
from fleet.schedules.views.plans import new_plan, plan, plans
from fleet.schedules.views.risk import risk, risk_class, risk_classes, rules, type_risk

__all__ = [
    "alternative",
    "attempt",
    "completion",
    "completion_drivers",
    "days",
    "defer",
    "drop",
    "due",
    "due_csv",
    "interval",
    "levelling",
    "levelling_dues",
    "levelling_weeks",
    "missing",
    "new_plan",
    "one",
    "one_levelling",
    "open_days",
    "overdue",
    "overdue_csv",
    "place_days",
    "plan",
    "plans",
    "restart",
    "risk",
    "risk_class",
    "risk_classes",
    "rules",
    "take_up",
    "type_risk",
]
