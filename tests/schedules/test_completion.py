"""How much was done in its window, against counts worked by hand."""

from datetime import date
from fractions import Fraction

import pytest

from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.schedules import actions, queries
from fleet.schedules.models import DueAttempt, Plan
from fleet.schedules.queries import Result
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.schedules.builders import ACCEPTED, a_due, a_plan, on

pytestmark = pytest.mark.django_db

MARCH = date(2028, 3, 1), date(2028, 3, 31)
AFTER = date(2028, 4, 10)


def ten_drivers() -> list[int]:
    """Ten yearly dues whose windows end on 1 March 2028: 6 on time, 1 late, 1 not located, 1 in use, 1 untouched."""
    with on(ACCEPTED):
        a_plan()
        devices = [a_device(accepted_on=ACCEPTED) for _ in range(10)]
        dues = actions.open_dues_of_all(devices, by=BY)
    with on(date(2028, 2, 20)):
        for due in dues[:6]:
            actions.roll(due, done_on=date(2028, 2, 20), by=BY)
    with on(AFTER):
        actions.roll(dues[6], done_on=date(2028, 3, 2), by=BY)
        actions.attempt(dues[7], DueAttempt.Reason.IN_USE, by=BY)
    with on(date(2028, 4, 11)):
        actions.attempt(dues[7], DueAttempt.Reason.NOT_FOUND, by=BY)
        actions.attempt(dues[8], DueAttempt.Reason.IN_USE, by=BY)
    return [device.pk for device in devices]


def test_each_due_counts_once_by_how_it_ended() -> None:
    """Dues not located and in use stay in the denominator; the latest attempt tells why."""
    devices = ten_drivers()
    report = queries.completion(*MARCH, on=date(2028, 4, 12))
    assert report.total.results == {
        Result.ON_TIME: 6,
        Result.LATE: 1,
        Result.NOT_FOUND: 1,
        Result.IN_USE: 1,
        Result.OPEN: 1,
    }
    assert (report.total.scheduled, report.total.on_time, report.total.done) == (10, Fraction(6, 10), Fraction(7, 10))
    assert {miss.device_id: miss.result for miss in report.misses} == {
        devices[6]: Result.LATE,
        devices[7]: Result.NOT_FOUND,
        devices[8]: Result.IN_USE,
        devices[9]: Result.OPEN,
    }


def test_nothing_due_is_neither_all_nor_none() -> None:
    """A period without scheduled work has no share."""
    report = queries.completion(date(2027, 5, 1), date(2027, 5, 31), on=AFTER)
    assert (report.total.scheduled, report.total.on_time, report.total.done) == (0, None, None)


def test_an_open_window_is_not_counted_yet() -> None:
    """On the last day of its window a due may still be done on time, so it is nobody's miss."""
    a_due()
    assert queries.completion(*MARCH, on=date(2028, 3, 1)).total.scheduled == 0
    assert queries.completion(*MARCH, on=date(2028, 3, 2)).total.scheduled == 1


def test_life_support_is_counted_apart() -> None:
    """The share of drivers whose failure can kill is never hidden in the share of all."""
    a_due()
    a_due(a_device(device_type=a_type("TW-2", life_support=False), accepted_on=ACCEPTED), device_type=a_type("TW-2"))
    report = queries.completion(*MARCH, on=AFTER)
    assert (report.total.scheduled, report.life_support.scheduled) == (2, 1)


def test_by_plan_and_by_site(outsider: Person, manager: Person) -> None:
    """The parts add up to the whole, and each person's report holds only their places."""
    a_due()
    corran = a_ward(site=a_site("Corran Vale"))
    actions.open_dues_of_all([a_device(home=corran, accepted_on=ACCEPTED) for _ in range(2)], by=BY)
    report = queries.completion(*MARCH, on=AFTER)
    assert {site: part.scheduled for site, part in report.by_site.items()} == {"Corran Vale": 2, "Mereford General": 1}
    assert sum(part.scheduled for part in report.by_plan.values()) == report.total.scheduled == 3
    assert queries.completion(*MARCH, on=AFTER, person=manager).total.scheduled == 1
    assert queries.completion(*MARCH, on=AFTER, person=outsider).total.scheduled == 2


def test_work_before_the_window_leaves_a_fixed_due_standing() -> None:
    """Done too early and then in its window, a fixed due counts once, as on time."""
    due = a_due(mode=Plan.Mode.FIXED)
    for day in (date(2027, 9, 1), date(2028, 2, 1)):
        with on(day):
            due = actions.roll(due, done_on=day, by=BY)
    assert queries.completion(*MARCH, on=AFTER).total.results == {Result.ON_TIME: 1}


def test_done_before_its_window_is_not_on_time() -> None:
    """A floating due done months early is told apart from one done within its window."""
    due = a_due()
    with on(date(2027, 9, 1)):
        actions.roll(due, done_on=date(2027, 9, 1), by=BY)
    assert queries.completion(*MARCH, on=AFTER).total.results == {Result.EARLY: 1}


def test_a_deferral_is_counted_beside_the_result(manager: Person) -> None:
    """A due put off counts where its window ends now, and the report says that it had been put off."""
    due = a_due()
    with on(date(2028, 2, 1)):
        actions.defer(due, date(2028, 3, 20), why="parts", by=actor_for(manager))
    total = queries.completion(*MARCH, on=AFTER).total
    assert (total.scheduled, total.deferred) == (1, 1)
