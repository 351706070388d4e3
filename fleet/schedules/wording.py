"""Intervals, and what makes a due come up, in words."""

from collections.abc import Sequence
from datetime import date

from fleet.core.due import Window, cut_week, monday_of
from fleet.core.risk import Every
from fleet.core.workdays import Planned
from fleet.schedules.models import Due
from fleet.schedules.queries import Limit, Reach, WorkCalendar
from fleet.web import phrases

_UNITS = {Limit.HOURS: "h", Limit.CYCLES: "cycles"}


def every_words(every: Every) -> str:
    """`12 months or 5000 running hours, whichever comes first`; empty where nothing is stated."""
    parts = [f"{every.months} months" if every.months != 1 else "month"] if every.months else []
    parts += [f"{every.hours} running hours"] if every.hours else []
    parts += [f"{every.cycles} charge cycles"] if every.cycles else []
    return " or ".join(parts) + (", whichever comes first" if len(parts) > 1 else "")


def reach_words(reach: Reach, today: date) -> str:
    """When one limit is reached, and why: `in about 5 weeks by running hours: 480 of 500 h, 4 h a week`."""
    by = f"by {reach.limit.phrase}"
    if reach.limit is Limit.MONTHS or reach.used is None:
        return f"{phrases.ago(reach.day, today)} {by}" if reach.day else f"{by}: its counter is not known yet"
    used = f"{reach.used:.0f} of {phrases.quantity(reach.every, _UNITS[reach.limit])}"
    if reach.reached:
        return f"reached {by}: {used}"
    if reach.day is None:
        return f"{by}: {used}; how fast it is used is not known"
    rate = phrases.quantity(round(reach.a_week or 0.0, 1), f"{_UNITS[reach.limit]} a week")
    when = phrases.ago(reach.day, today).replace("in ", "in about ", 1)
    return f"{when} {by}: {used}, {rate}"


def planned_words(planned: Planned | None) -> str:
    """The day a due is planned for and why it isn't its own; empty where it keeps its day."""
    if planned is None:
        return ""
    return f"planned {phrases.day(planned.day)}: {planned.why}" if planned.found else planned.why


def planned_cells(due: Due, calendar: WorkCalendar) -> tuple[date | None, str]:
    """The day a due is planned for, and why it isn't its own; the first day in a week that a levelled plan gave it."""
    if due.planned_for is not None:
        return due.planned_for, ", ".join(filter(None, ["week of a levelled plan", week_cut(due)]))
    planned = calendar.planned(due)
    if planned is None:
        return None, ""
    return (planned.day if planned.found else None), planned.why


def week_words(day: date, span: Window) -> str:
    """“from Wed 24 Mar”, “by Thu 31 Dec”, both, or nothing: where a window cuts the planned week of a day."""
    first, last = cut_week(day, span)
    told = [f"{word} {cut:%a} {phrases.day(cut)}" for word, cut in (("from", first), ("by", last)) if cut]
    return " ".join(told)


def week_cut(due: Due) -> str:
    """Where its window cuts the week that a levelled plan gave a due."""
    return week_words(due.planned_for, Window(due.opens_on, due.due_on, due.closes_on)) if due.planned_for else ""


def planned_week(due: Due) -> str:
    """The week that a levelled plan gave a due, by its Monday, and where the window cuts it; empty without one."""
    if due.planned_for is None:
        return ""
    return ", ".join(filter(None, [f"week from {phrases.day(monday_of(due.planned_for))}", week_cut(due)]))


def first_words(found: Sequence[Reach], today: date) -> str:
    """What comes first, where a due has counters beside its months; empty for months alone."""
    if all(reach.limit is Limit.MONTHS for reach in found):
        return ""
    words = "; ".join(reach_words(reach, today) for reach in found)
    return words[0].upper() + words[1:]
