"""From report to return by the calendar, minutes with hands on, and the part spent waiting."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.bench import actions as bench
from fleet.bench.models import Labour, Order
from fleet.bench.queries import turnaround
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import as_actor, finish, fresh, procedures, received, work
from tests.builders import a_device, a_site, a_type, a_ward
from tests.tags.builders import an_open_tag

START = datetime(2026, 3, 2, 8, tzinfo=UTC)
MARCH = (date(2026, 3, 1), date(2026, 3, 31))


def on_day(day: float) -> object:
    return clock.at(START + timedelta(days=day))


def a_repair(by: Person, days: float, waiting: float = 0, minutes: int = 0, device: object = None) -> Order:
    """A driver tagged on 2 March, received a day later, set aside for some days, returned after `days`."""
    with on_day(0):
        procedures()
        driver = device or a_device(accepted_on=date(2025, 1, 1))
        an_open_tag(driver)
    with on_day(1):
        order = received(driver, by)
        if waiting:
            bench.set_aside(order, WaitReason.PARTS, by=as_actor(by))
    with on_day(1 + waiting):
        if waiting:
            bench.resume(fresh(order), by=as_actor(by))
        if minutes:
            bench.add_labour(order, minutes, by=as_actor(by))
    with on_day(days):
        return finish(work(fresh(order), by), by)


def test_days_minutes_and_waiting_are_told_apart(technician: Person) -> None:
    """Three repairs of 2, 4 and 10 days: median 4; 6 of 16 days waited; median of the minutes that were entered."""
    a_repair(technician, 2, minutes=20)
    a_repair(technician, 4, minutes=50)
    a_repair(technician, 10, waiting=6)
    overall = turnaround(*MARCH, technician).overall
    assert (overall.orders, overall.days, overall.minutes, overall.untimed) == (3, 4, 35, 1)
    assert overall.waiting == pytest.approx(6 / 16)


def test_waiting_minutes_are_no_hands_on_minutes(technician: Person) -> None:
    """Minutes entered as waiting are left out of the hands-on median."""
    with on_day(0):
        order = a_repair(technician, 3, minutes=20)
    Labour.objects.create(order=order, minutes=600, activity="waiting", entered_at=START)
    assert turnaround(*MARCH, technician).overall.minutes == 20


def test_by_site_and_by_type(technician: Person, administrator: Person) -> None:
    """Each site and each type has its own line, the slowest first, and a person sees their places only."""
    far = a_device(a_ward("Ward 1", a_site("Corran Vale")), a_type("Sable"), accepted_on=date(2025, 1, 1))
    a_repair(administrator, 8, device=far)
    a_repair(technician, 2)
    seen = turnaround(*MARCH, administrator)
    assert [(line.name, line.days) for line in seen.by_site] == [("Corran Vale", 8), ("Mereford General", 2)]
    assert [line.days for line in seen.by_type] == [8, 2]
    assert [line.name for line in turnaround(*MARCH, technician).by_site] == ["Mereford General"]


def test_the_period_holds_both_its_days_and_only_finished_orders(technician: Person) -> None:
    """Finished on the last day counts, the day after does not; an order without its driver never does."""
    order = a_repair(technician, 2)
    day = order.completed_at.date()
    assert turnaround(day, day, technician).overall.orders == 1
    assert turnaround(day - timedelta(days=9), day - timedelta(days=1), technician).overall.orders == 0
    raised = bench.raise_order(a_device(), "planned", by=as_actor(technician))
    with on_day(3):
        finish(raised, technician, Outcome.NOT_LOCATED)
    assert turnaround(*MARCH, technician).overall.orders == 1


def test_no_order_gives_no_number(technician: Person) -> None:
    """An empty period has no median and no share, rather than zero."""
    overall = turnaround(*MARCH, technician).overall
    assert (overall.orders, overall.days, overall.minutes, overall.waiting) == (0, None, None, None)
