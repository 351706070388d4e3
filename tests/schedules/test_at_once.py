"""Two workers, or a worker and a person, on the same dues at the same moment."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest
from django.db import connection

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError
from fleet.schedules import actions
from fleet.schedules.actions import nightly
from fleet.schedules.models import Due, DueDone
from tests.builders import BY, a_device
from tests.schedules.builders import ACCEPTED, a_due, a_plan, on, stored

pytestmark = pytest.mark.django_db(transaction=True)

LATE_DAY = date(2028, 4, 1)


def at_once(*acts: Callable[[], object]) -> list[object]:
    """What the acts give when they run side by side; a refusal in words is an outcome too."""

    def run(act: Callable[[], object]) -> object:
        try:
            with on(LATE_DAY):
                return act()
        except BadValueError as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as workers:
        return list(workers.map(run, acts))


def test_two_workers_mark_each_due_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two runs of the same night share the work: every due is marked, and the trail tells it once."""
    monkeypatch.setattr(nightly, "BATCH", 3)
    with on(ACCEPTED):
        a_plan()
        actions.open_dues_of_all([a_device(accepted_on=ACCEPTED) for _ in range(20)], by=BY)
    outcomes = at_once(*[lambda: actions.mark_late(LATE_DAY)["marked late"]] * 2)
    assert sum(outcomes) == 20
    assert TrailEntry.objects.filter(verb="became late").count() == 20
    assert not Due.objects.filter(late_since=None).exists()


def test_a_due_done_while_the_night_marks_it_ends_up_not_late() -> None:
    """Whoever comes first, a due that was done is not left marked as late, nor is its driver."""
    due = a_due()
    at_once(lambda: actions.mark_late(LATE_DAY), lambda: actions.roll(due, done_on=LATE_DAY, by=BY))
    due.refresh_from_db()
    assert (due.due_on, due.late_since) == (date(2029, 4, 1), None)
    assert stored(due.device) == (date(2029, 4, 1), date(2029, 5, 1), None)


def test_opening_dues_at_once_opens_each_once() -> None:
    """Two acceptances of one driver at the same moment leave one due for each plan."""
    a_plan()
    device = a_device(accepted_on=ACCEPTED)
    at_once(*[lambda: len(actions.open_dues(device, by=BY))] * 2)
    assert Due.objects.count() == 1


def test_done_twice_on_one_day_is_kept_twice() -> None:
    """Two orders finished on one day are two acts; the due moves on from that day once."""
    due = a_due()
    at_once(*[lambda: actions.roll(due, done_on=LATE_DAY, by=BY)] * 2)
    due.refresh_from_db()
    assert due.due_on == date(2029, 4, 1)
    assert sorted(DueDone.objects.values_list("due_on", flat=True)) == [date(2028, 1, 31), date(2029, 4, 1)]
