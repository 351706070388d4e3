"""Pages about what is due."""

from fleet.schedules.views.completion import completion
from fleet.schedules.views.lists import alternative, due, overdue, overdue_csv
from fleet.schedules.views.one import attempt, defer, interval, one
from fleet.schedules.views.plans import new_plan, plan, plans

__all__ = [
    "alternative",
    "attempt",
    "completion",
    "defer",
    "due",
    "interval",
    "new_plan",
    "one",
    "overdue",
    "overdue_csv",
    "plan",
    "plans",
]
