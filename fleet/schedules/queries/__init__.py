"""What is due where, and what was done in its window."""

from fleet.schedules.queries.completion import Completion, Outcome, Report, Result, completion
from fleet.schedules.queries.dues import (
    Group,
    ages,
    alternative,
    attempts_of,
    coming,
    done_of,
    dues_of,
    grouped,
    late_by,
    live,
    months,
    next_visit,
    overdue,
    plans,
)
from fleet.schedules.queries.levelling import Proposal, Row, Week, levellings, proposal

__all__ = [
    "Completion",
    "Group",
    "Outcome",
    "Proposal",
    "Report",
    "Result",
    "Row",
    "Week",
    "ages",
    "alternative",
    "attempts_of",
    "coming",
    "completion",
    "done_of",
    "dues_of",
    "grouped",
    "late_by",
    "levellings",
    "live",
    "months",
    "next_visit",
    "overdue",
    "plans",
    "proposal",
]
