"""Spreading planned work over the weeks: jobs with windows against the hours there are."""

from fleet.core.levelling.hours import Absence, weekly_minutes
from fleet.core.levelling.jobs import Bench, Job, Visit, visits_of
from fleet.core.levelling.plan import Plan, Why, level

__all__ = ["Absence", "Bench", "Job", "Plan", "Visit", "Why", "level", "visits_of", "weekly_minutes"]
