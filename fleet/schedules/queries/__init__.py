"""What is due where, and what was done in its window."""

from fleet.schedules.queries.completion import Completion, Outcome, Report, Result, completion
from fleet.schedules.queries.dues import attempts_of, coming, done_of, dues_of, next_visit, overdue, plans

__all__ = [
    "Completion",
    "Outcome",
    "Report",
    "Result",
    "attempts_of",
    "coming",
    "completion",
    "done_of",
    "dues_of",
    "next_visit",
    "overdue",
    "plans",
]
