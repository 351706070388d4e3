"""A due from its opening to its rolling on."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from fleet.audit.actors import Actor, Source
from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.actions import note_running_hours
from fleet.schedules import actions, queries
from fleet.schedules.models import Due, DueDone, Plan
from tests.builders import BY, a_device, a_new_device
from tests.schedules.builders import ACCEPTED, a_due, a_plan, on, stored

pytestmark = pytest.mark.django_db

FIRST = date(2028, 1, 31)


def test_dues_open_at_acceptance_with_their_window() -> None:
    """The first due lies one interval after acceptance, with the plan's window, and stands on the driver too."""
    due = a_due()
    assert (due.due_on, due.opens_on, due.closes_on) == (FIRST, date(2028, 1, 1), date(2028, 3, 1))
    assert stored(due.device) == (FIRST, date(2028, 3, 1), None)


def test_opening_again_adds_nothing() -> None:
    """One due for each device and plan, however often dues are opened."""
    due = a_due()
    assert actions.open_dues(due.device, by=BY) == []
    assert Due.objects.count() == 1


def test_a_driver_not_accepted_has_no_dues() -> None:
    """Dues are counted from acceptance, so a driver without it is refused in words."""
    a_plan()
    with pytest.raises(BadValueError, match="has not passed acceptance"):
        actions.open_dues(a_new_device(), by=BY)


def test_a_driver_taken_over_counts_from_its_last_service() -> None:
    """A driver that comes with an earlier record is not called late for services that record already holds."""
    a_plan()
    device = a_device(accepted_on=date(2020, 1, 1))
    with on(date(2027, 3, 1)):
        due = actions.open_dues(device, by=BY, served_on=date(2026, 12, 5))[0]
    assert (due.due_on, due.late_since) == (date(2027, 12, 5), None)


@pytest.mark.parametrize("mode", ["floating", "fixed"])
def test_a_plan_added_today_schedules_nothing_in_the_past(mode: str) -> None:
    """A driver long in use is due on the day the plan was added, its window runs from then, also after a change."""
    old, young = a_device(accepted_on=date(2014, 5, 1)), a_device(accepted_on=date(2026, 12, 1))
    with on(ACCEPTED):
        plan = a_plan(months=60, mode=mode)
    due = Due.objects.get(device=old)
    assert (due.opens_on, due.due_on, due.closes_on) == (ACCEPTED, ACCEPTED, date(2027, 3, 2))
    assert due.late_since is None
    assert Due.objects.get(device=young).due_on == date(2031, 12, 1)
    past = queries.Asked(first=date(2018, 1, 1), last=date(2026, 12, 31))
    assert queries.completion(past, on=date(2027, 3, 1)).total.scheduled == 0
    with on(date(2027, 3, 10)):
        actions.edit_plan(plan, {"every_months": 48}, why="The maker's new manual", by=BY)
        due.refresh_from_db()
        assert (due.due_on, due.late_since) == (ACCEPTED, date(2027, 3, 3))
        actions.roll(due, done_on=date(2027, 3, 10), by=BY)
    due.refresh_from_db()
    assert due.due_on == (date(2031, 3, 10) if mode == "floating" else date(2030, 5, 1))


def test_a_stated_last_service_is_counted_from_as_it_is() -> None:
    """A file that says when a driver was last serviced may say that it is late for years, whenever the plan came."""
    with on(ACCEPTED):
        a_plan(months=12)
        due = actions.open_dues(a_device(accepted_on=date(2014, 5, 1)), by=BY, served_on=date(2024, 3, 1))[0]
    assert (due.due_on, due.late_since) == (date(2025, 3, 1), date(2025, 4, 1))


def test_a_due_opened_too_late_is_late_at_once() -> None:
    """A driver taken over without any service on record shows as late from the day after its window."""
    a_plan()
    device = a_device(accepted_on=date(2020, 1, 1))
    with on(date(2027, 3, 1)):
        actions.open_dues(device, by=BY)
    assert stored(device) == (date(2021, 1, 1), date(2021, 1, 31), date(2021, 2, 1))


def test_floating_rolls_from_the_day_it_was_done() -> None:
    """Done on 10 February, a yearly floating service is due on 10 February of the next year."""
    due = a_due()
    with on(date(2028, 2, 10)):
        rolled = actions.roll(due, done_on=date(2028, 2, 10), order_number="1041", by=BY)
    assert rolled.due_on == date(2029, 2, 10)
    done = DueDone.objects.get()
    assert (done.due_on, done.closes_on, done.late, done.order_number) == (FIRST, date(2028, 3, 1), False, "1041")
    assert stored(due.device)[0] == date(2029, 2, 10)


def test_fixed_keeps_its_month_ends() -> None:
    """Fixed monthly dues from 31 January fall on month ends and never drift, however late each is done."""
    due = a_due(months=1, mode=Plan.Mode.FIXED, window_before_days=5, window_after_days=5)
    days = [due.due_on]
    for done_on in (date(2027, 3, 2), date(2027, 4, 3), date(2027, 5, 2)):
        with on(done_on):
            due = actions.roll(due, done_on=done_on, by=BY)
        days.append(due.due_on)
    assert days == [date(2027, 2, 28), date(2027, 3, 31), date(2027, 4, 30), date(2027, 5, 31)]


def test_the_last_day_of_the_window_is_on_time() -> None:
    """Done on the day the window closes is on time; the day after is late, and says so in what was done."""
    due = a_due(window_after_days=0)
    with on(date(2028, 3, 1)):
        actions.roll(due, done_on=FIRST, by=BY)
    other = a_due(name="Other", window_after_days=0)
    with on(date(2028, 3, 1)):
        actions.roll(other, done_on=date(2028, 2, 1), by=BY)
    assert list(DueDone.objects.order_by("id").values_list("late", flat=True)) == [False, True]


@pytest.mark.parametrize(
    ("done_on", "words"), [(date(2028, 2, 11), "still to come"), (date(2028, 1, 4), "already; give that day")]
)
def test_days_that_cannot_be_are_refused(done_on: date, words: str) -> None:
    """Work is never recorded ahead of time, nor before the last time it was done; nothing is written then."""
    due = a_due()
    with on(date(2028, 2, 10)):
        actions.roll(due, done_on=date(2028, 1, 5), by=BY)
        with pytest.raises(BadValueError, match=words):
            actions.roll(due, done_on=done_on, by=BY)
    assert DueDone.objects.count() == 1


def test_whichever_comes_first_of_months_and_hours() -> None:
    """A driver used 20 h a day reaches 2,000 h long before its twelve months."""
    due = a_due(hours=2000)
    note_running_hours(due.device, Decimal(0), at=datetime(2027, 1, 31, 9, tzinfo=UTC), by=BY)
    Due.objects.update(last_done_hours=0)
    note_running_hours(due.device, Decimal(1000), at=datetime(2027, 3, 22, 9, tzinfo=UTC), by=BY)
    with on(date(2027, 3, 23)):
        counts = actions.count_running_hours(date(2027, 3, 23))
        assert actions.count_running_hours(date(2027, 3, 23)) == {"moved by their counters": 0}
    assert counts == {"moved by their counters": 1}
    due.refresh_from_db()
    assert due.due_on == date(2027, 5, 11)  # 50 days for 1,000 h; 1,000 h are left on 22 March
    assert stored(due.device)[0] == date(2027, 5, 11)


def test_an_hours_plan_without_a_counter_comes_up_after_a_year() -> None:
    """A due that nobody can reckon is not silent for ever: after twelve months somebody reads the counter."""
    assert a_due(months=None, hours=5000).due_on == FIRST


def test_a_driver_that_asks_is_due_today() -> None:
    """The service is due today with seven days to do it, the battery test stays, and the trail says why."""
    due = a_due()
    a_plan(name="Battery test", months=1, kind=Plan.Kind.BATTERY)
    with on(date(2027, 6, 1)):
        actions.make_due_now(due.device, why="It asked for maintenance.", by=BY)
    due.refresh_from_db()
    assert (due.due_on, due.closes_on, due.asked_by_device) == (date(2027, 6, 1), date(2027, 6, 8), True)
    assert TrailEntry.objects.get(verb="made due now").why == "It asked for maintenance."


def test_asking_never_gives_a_late_due_more_time() -> None:
    """A due that is late already keeps its day and its lateness."""
    due = a_due()
    with on(date(2028, 4, 1)):
        actions.mark_late(date(2028, 4, 1))
        actions.make_due_now(due.device, why="asked", by=BY)
    due.refresh_from_db()
    assert (due.due_on, due.closes_on, due.late_since) == (FIRST, date(2028, 3, 1), date(2028, 3, 2))


def test_a_request_older_than_the_service_changes_nothing() -> None:
    """An alert entered late, from before the last service, does not make the next one due."""
    due = a_due()
    with on(date(2028, 2, 1)):
        actions.roll(due, done_on=date(2028, 2, 1), by=BY)
        asked_at = datetime(2028, 1, 20, 8, tzinfo=UTC)
        assert actions.make_due_now(due.device, why="asked", by=BY, asked_at=asked_at) is None
    assert stored(due.device)[0] == date(2029, 2, 1)


def test_a_driver_without_dues_can_ask() -> None:
    """A driver without any plan asks in vain, without an error."""
    assert actions.make_due_now(a_device(), why="asked", by=BY) is None


def test_the_request_ends_when_served() -> None:
    """Done, the due is an ordinary one again."""
    due = a_due()
    with on(date(2027, 6, 1)):
        actions.make_due_now(due.device, why="asked", by=BY)
        rolled = actions.roll(due, done_on=date(2027, 6, 1), by=BY)
    assert (rolled.asked_by_device, rolled.due_on) == (False, date(2028, 6, 1))


def test_rolling_a_kind_leaves_the_others() -> None:
    """A service order rolls every service due of the driver and not its battery test."""
    due = a_due()
    a_plan(name="Battery test", months=6, kind=Plan.Kind.BATTERY)
    with on(date(2028, 1, 31)):
        rolled = actions.roll_kind(due.device, Plan.Kind.SERVICE, done_on=FIRST, by=BY)
    assert [row.plan.name for row in rolled] == ["Yearly service"]
    assert queries.next_visit(due.device) == date(2027, 7, 31)


def test_retired_drivers_are_not_counted() -> None:
    """Suspended dues leave the lists and the driver's columns; their history stays."""
    due = a_due()
    with on(date(2028, 4, 1)):
        actions.mark_late(date(2028, 4, 1))
        actions.suspend(due.device, by=BY)
        assert not queries.overdue(date(2028, 4, 1)).exists()
        with pytest.raises(BadValueError, match="no longer counts"):
            actions.roll(due, done_on=date(2028, 4, 1), by=BY)
    assert stored(due.device) == (None, None, None)


def test_each_act_asks_for_its_duty(storekeeper: Person) -> None:
    """A storekeeper may look, and may neither record work nor put it off."""
    due, by = a_due(), actor_for(storekeeper)
    for act in (
        lambda: actions.roll(due, done_on=ACCEPTED, by=by),
        lambda: actions.defer(due, date(2029, 1, 1), why="x", by=by),
        lambda: actions.attempt(due, "in_use", by=by),
        lambda: actions.suspend(due.device, by=by),
        lambda: actions.set_own_interval(due, 6, why="x", by=by),
    ):
        with pytest.raises(NotAllowedError):
            act()


def test_a_ward_report_may_make_a_driver_due() -> None:
    """Whoever may report a fault may pass on that a driver asked for maintenance."""
    due = a_due()
    reporter = Actor("label", Source.LABEL_LINK, frozenset({May.REPORT_FAULT}))
    with on(date(2027, 6, 1)):
        assert actions.make_due_now(due.device, why="asked", by=reporter) is not None
