"""Deferrals, attempts and intervals of a driver's own."""

from datetime import UTC, date, datetime

import pytest

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.schedules import actions, queries
from fleet.schedules.models import DueAttempt, DueDone, Plan
from tests.builders import BY
from tests.schedules.builders import a_due, on, stored

pytestmark = pytest.mark.django_db

LATE_DAY = date(2028, 4, 1)
UNTIL = date(2028, 5, 1)


def test_a_deferral_is_seen_and_has_no_second_window(manager: Person) -> None:
    """Put off to a day, the due closes that day, is no longer late, and keeps the day it was first due."""
    due = a_due()
    actions.mark_late(LATE_DAY)
    with on(LATE_DAY):
        row = actions.defer(due, UNTIL, why="Waits for the maker's parts.", by=actor_for(manager))
    assert (row.due_on, row.closes_on, row.late_since, row.deferred_from) == (UNTIL, UNTIL, None, date(2028, 1, 31))
    assert row.deferred_by == manager
    assert stored(due.device) == (UNTIL, UNTIL, None)
    assert TrailEntry.objects.get(verb="due deferred").why == "Waits for the maker's parts."
    assert actions.mark_late(date(2028, 5, 2)) == {"marked late": 1}


def test_a_second_deferral_keeps_the_first_day(manager: Person) -> None:
    """However often it is put off, the record says since when."""
    due, by = a_due(), actor_for(manager)
    with on(LATE_DAY):
        actions.defer(due, UNTIL, why="parts", by=by)
        row = actions.defer(due, date(2028, 6, 1), why="still parts", by=by)
    assert row.deferred_from == date(2028, 1, 31)


def test_the_deferral_stays_with_what_was_done(manager: Person) -> None:
    """Done at last, the due is an ordinary one again, and what was done says that it had been put off."""
    due = a_due()
    with on(LATE_DAY):
        actions.defer(due, UNTIL, why="parts", by=actor_for(manager))
        row = actions.roll(due, done_on=LATE_DAY, by=BY)
    assert (row.deferred_from, row.deferred_why, row.deferred_by_id) == (None, "", None)
    assert DueDone.objects.get().deferred_from == date(2028, 1, 31)


@pytest.mark.parametrize(
    ("until", "why", "field"),
    [(UNTIL, "  ", "why"), (date(2028, 3, 1), "parts", "until"), (LATE_DAY, "parts", "until")],
)
def test_a_deferral_needs_a_reason_and_a_later_day(manager: Person, until: date, why: str, field: str) -> None:
    """Without a reason, or to a day that puts nothing off, it is refused and the field is named."""
    due = a_due()
    with on(LATE_DAY), pytest.raises(BadValueError) as caught:
        actions.defer(due, until, why=why, by=actor_for(manager))
    assert caught.value.field == field


def test_no_job_defers() -> None:
    """A deferral is a person's decision."""
    due = a_due()
    with on(LATE_DAY), pytest.raises(BadValueError, match="signed-in person"):
        actions.defer(due, UNTIL, why="parts", by=BY)


def test_each_attempt_is_dated() -> None:
    """Two visits in vain are two rows with their own times; the due stays where it is."""
    due = a_due()
    with on(date(2028, 2, 3), hour=15):
        actions.attempt(due, DueAttempt.Reason.NOT_FOUND, note="Searched Ward 4.", by=BY)
        actions.attempt(due, DueAttempt.Reason.IN_USE, at=datetime(2028, 2, 1, 10, tzinfo=UTC), by=BY)
    tried = list(queries.attempts_of(due).values_list("tried_at", "reason"))
    assert tried == [
        (datetime(2028, 2, 3, 15, tzinfo=UTC), "not_found"),
        (datetime(2028, 2, 1, 10, tzinfo=UTC), "in_use"),
    ]
    assert queries.overdue(LATE_DAY).get().due_on == date(2028, 1, 31)


def test_an_attempt_in_the_future_is_refused() -> None:
    """Nobody has tried tomorrow."""
    due = a_due()
    with on(date(2028, 2, 3)), pytest.raises(BadValueError, match="future"):
        actions.attempt(due, DueAttempt.Reason.PARTS, at=datetime(2028, 2, 4, 10, tzinfo=UTC), by=BY)


def test_an_interval_of_its_own_overrides_the_plan() -> None:
    """A driver with six months of its own is due in July, and with None the plan's twelve months hold again."""
    due = a_due()
    with on(date(2027, 2, 1)):
        assert actions.set_own_interval(due, 6, why="hard use", by=BY).due_on == date(2027, 7, 31)
        assert actions.set_own_interval(due, None, why="moved", by=BY).due_on == date(2028, 1, 31)
        with pytest.raises(BadValueError, match="1 or more"):
            actions.set_own_interval(due, 0, why="never", by=BY)


def test_a_plan_change_reaches_its_dues(manager: Person) -> None:
    """Six months instead of twelve moves the dues, except one a person has put off."""
    due = a_due()
    other = a_due(name="Other")
    with on(LATE_DAY):
        actions.defer(other, UNTIL, why="parts", by=actor_for(manager))
        for plan in Plan.objects.all():
            actions.edit_plan(plan, {"every_months": 6}, by=BY, why="the maker's new revision")
    due.refresh_from_db()
    other.refresh_from_db()
    assert (due.due_on, other.due_on) == (date(2027, 7, 31), UNTIL)
    assert stored(due.device) == (date(2027, 7, 31), date(2027, 8, 30), date(2027, 8, 31))


def test_an_inactive_plan_stops_counting() -> None:
    """Set inactive its dues leave the lists; set active again they count again."""
    due = a_due()
    actions.edit_plan(due.plan, {"active": False}, why="Replaced", by=BY)
    assert queries.next_visit(due.device) is None
    assert stored(due.device) == (None, None, None)
    actions.edit_plan(due.plan, {"active": True}, by=BY)
    assert queries.next_visit(due.device) == date(2028, 1, 31)


def test_a_plan_needs_an_interval_and_a_reasoned_basis() -> None:
    """A plan without interval, or with an alternative schedule nobody reasoned, is refused before the database is."""
    due = a_due()
    with pytest.raises(BadValueError, match="months, running hours or charge cycles"):
        actions.edit_plan(due.plan, {"every_months": None}, by=BY)
    with pytest.raises(BadValueError, match="why it departs from the maker"):
        actions.edit_plan(due.plan, {"basis": "alternative"}, by=BY)
    with pytest.raises(BadValueError, match="can't be changed"):
        actions.edit_plan(due.plan, {"kind": "battery"}, by=BY)
    assert Plan.objects.get().every_months == 12
