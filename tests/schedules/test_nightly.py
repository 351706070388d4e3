"""What the night does to dues."""

from datetime import date

import pytest

from fleet.audit.models import TrailEntry
from fleet.registry.models import Device
from fleet.schedules import actions, queries
from fleet.schedules.actions import nightly
from fleet.schedules.models import Due
from tests.builders import BY, a_device
from tests.schedules.builders import ACCEPTED, a_due, a_plan, on, stored

pytestmark = pytest.mark.django_db

LAST_DAY = date(2028, 3, 1)
DAY_AFTER = date(2028, 3, 2)


def test_late_begins_the_day_after_the_window() -> None:
    """The last day of the window is not late; the next one is, on the due and on the driver."""
    due = a_due()
    assert actions.mark_late(LAST_DAY) == {"marked late": 0}
    assert actions.mark_late(DAY_AFTER) == {"marked late": 1}
    due.refresh_from_db()
    assert due.late_since == DAY_AFTER
    assert stored(due.device) == (date(2028, 1, 31), LAST_DAY, DAY_AFTER)


def test_marking_again_changes_nothing() -> None:
    """The second run of a night finds nothing to do and writes nothing to the trail."""
    a_due()
    actions.mark_late(DAY_AFTER)
    assert actions.mark_late(DAY_AFTER) == {"marked late": 0}
    assert TrailEntry.objects.filter(verb="became late").count() == 1


def test_many_dues_are_marked_batch_by_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every late due is marked, each batch is told, and the trail names each driver once."""
    monkeypatch.setattr(nightly, "BATCH", 2)
    with on(ACCEPTED):
        a_plan()
        a_plan(name="Battery test", months=6)
        devices = [a_device(accepted_on=ACCEPTED) for _ in range(5)]
        actions.open_dues_of_all(devices, by=BY)
    told: list[int] = []
    assert actions.mark_late(date(2027, 9, 1), progress=told.append) == {"marked late": 5}
    assert told == [2, 4, 5]
    assert Device.objects.filter(late_since=date(2027, 8, 31)).count() == 5
    assert set(TrailEntry.objects.filter(verb="became late").values_list("device_ref", flat=True)) == {
        device.pk for device in devices
    }
    assert Due.objects.filter(late_since=None).count() == 5


def test_the_device_shows_its_earliest_lateness() -> None:
    """With two late dues the driver has been late since the first of them."""
    due = a_due()
    a_plan(name="Battery test", months=6)
    actions.mark_late(date(2028, 6, 1))
    assert stored(due.device) == (date(2027, 7, 31), date(2027, 8, 30), date(2027, 8, 31))


def test_overdue_lists_the_longest_late_first() -> None:
    """The list asks the stored window, so it is right even before the night has marked anything."""
    due = a_due()
    a_plan(name="Battery test", months=6)
    assert [row.plan.name for row in queries.overdue(date(2028, 6, 1))] == ["Battery test", "Yearly service"]
    assert [row.pk for row in queries.coming(date(2027, 6, 1), date(2028, 2, 1))][-1] == due.pk
