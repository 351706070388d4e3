"""Dues by running hours and charge cycles: the recent rate, what comes first, and a counter that was restarted."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.batteries.actions import count_cycles, fit, remove
from fleet.batteries.models import Fitting
from fleet.core.due import recent_rate
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry.actions import note_running_hours
from fleet.registry.models import Device
from fleet.schedules import actions, queries
from fleet.schedules.models import Due
from fleet.schedules.queries import Limit
from fleet.schedules.wording import first_words
from tests.batteries.builders import a_fitted_device, a_pack
from tests.builders import BY, a_device
from tests.pages import page, signed_in, status
from tests.schedules.builders import ACCEPTED, a_due, on

pytestmark = pytest.mark.django_db


def read(device: Device, hours: int, day: date) -> None:
    """The counter as it was read on a day, and the night after."""
    note_running_hours(device, Decimal(hours), at=datetime(day.year, day.month, day.day, 12, tzinfo=UTC), by=BY)
    with on(day):
        actions.keep_all_readings()
        actions.count_running_hours(day)


def a_counted_due(hours: int = 500) -> Due:
    """A service every 12 months or so many running hours, of a driver whose counter began at 0."""
    driver = a_device(
        accepted_on=ACCEPTED, running_hours=Decimal(0), running_hours_at=datetime(2027, 1, 31, 8, tzinfo=UTC)
    )
    return a_due(driver, hours=hours)


@pytest.mark.parametrize(
    ("readings", "a_day"),
    [
        ([], None),
        ([(0, 10.0)], None),
        ([(0, 10.0), (6, 16.0)], None),
        ([(0, 10.0), (7, 17.0)], 1.0),
        ([(0, 0.0), (100, 100.0), (130, 190.0)], 3.0),
        ([(0, 0.0), (100, 100.0), (120, 140.0), (130, 190.0)], 3.0),
    ],
)
def test_the_recent_rate(readings: list[tuple[int, float]], a_day: float | None) -> None:
    """From the newest reading back to the latest that is 28 days older, else to the oldest if that is 7 days older."""
    days = [(ACCEPTED + timedelta(days=day), total) for day, total in readings]
    assert recent_rate(days) == a_day


def test_a_due_says_which_limit_comes_first_and_why() -> None:
    """480 of 500 h at 2 h a day lately: in some ten days by hours, long before its twelve months."""
    due = a_counted_due()
    for hours, day in ((424, date(2027, 8, 1)), (480, date(2027, 8, 29))):
        read(due.device, hours, day)
    due = Due.objects.select_related("plan", "device__use").get()
    assert due.due_on == date(2027, 9, 8)
    assert [reach.limit for reach in queries.reaches(due)] == [Limit.HOURS, Limit.MONTHS]
    words = first_words(queries.reaches(due), date(2027, 8, 29)).replace("\xa0", " ")
    assert words == "In about 10 days by running hours: 480 of 500 h, 14 h a week; in 5 months by months"


def test_a_counter_that_is_there_is_due_when_it_was_read() -> None:
    """512 of 500 h: reached, and due on the day of the reading."""
    due = a_counted_due()
    read(due.device, 512, date(2027, 8, 1))
    due.refresh_from_db()
    assert due.due_on == date(2027, 8, 1)
    assert "Reached by running hours: 512 of" in first_words(queries.reaches(due), date(2027, 8, 2))


def test_a_restarted_counter_keeps_the_total_going() -> None:
    """300 h on the old board, 7 on the new: 407 of 500 h when that one reads 107; the old reading is refused below."""
    due = a_counted_due()
    read(due.device, 290, date(2027, 5, 1))
    with pytest.raises(BadValueError, match="counter was restarted"):
        note_running_hours(due.device, Decimal(7), at=datetime(2027, 5, 2, tzinfo=UTC), by=BY)
    with on(date(2027, 5, 2)):
        actions.restart_hours(due.device, Decimal(7), last=Decimal(300), why="main board replaced", by=BY)
    read(due.device, 107, date(2027, 7, 1))
    device = Device.objects.select_related("use").get()
    assert (device.running_hours, queries.total_hours(device)) == (Decimal(107), Decimal(400))
    used = queries.reaches(Due.objects.get())[0]
    assert (used.limit, used.used) == (Limit.HOURS, 400.0)
    assert used.a_week == pytest.approx(110 / 61 * 7)


def test_a_restart_needs_a_reading_a_reason_and_no_less_than_before() -> None:
    """Nothing to go on from, no reason, or an old counter below what was read: refused, and nothing is written."""
    due, never = a_counted_due(), a_device()
    read(due.device, 290, date(2027, 5, 1))
    for device, last, why, field in (
        (never, None, "new board", "reads"),
        (due.device, None, " ", "why"),
        (due.device, Decimal(280), "new board", "last"),
    ):
        with pytest.raises(BadValueError) as refused:
            actions.restart_hours(device, Decimal(0), last=last, why=why, by=BY)
        assert refused.value.field == field
    assert Device.objects.get(pk=due.device_id).running_hours == Decimal(290)


def test_a_service_after_a_restart_counts_from_the_total() -> None:
    """Done at 400 h in all, it is next reached at 900 h in all, whatever the new counter shows."""
    due = a_counted_due()
    read(due.device, 290, date(2027, 5, 1))
    with on(date(2027, 5, 2)):
        actions.restart_hours(due.device, Decimal(0), why="main board replaced", by=BY)
    read(due.device, 110, date(2027, 7, 1))
    with on(date(2027, 7, 2)):
        assert actions.roll(due, done_on=date(2027, 7, 2), by=BY).last_done_hours == Decimal(400)
    read(due.device, 160, date(2027, 8, 1))
    reach = next(each for each in queries.reaches(Due.objects.get()) if each.limit is Limit.HOURS)
    assert (reach.used, reach.every) == (50.0, 500)


def test_charge_cycles_of_each_pack_add_up_in_its_driver() -> None:
    """30 cycles since the service with one pack, then 25 with the next, which came with 100: 55 of 60."""
    with on(ACCEPTED):
        driver = a_fitted_device(ACCEPTED, accepted_on=ACCEPTED)
    due, first = a_due(driver, months=None, cycles=60), driver.fittings.get().pack
    with on(date(2027, 2, 11)):
        count_cycles(first, 5, on=date(2027, 2, 10), by=BY)
        actions.roll(due, done_on=date(2027, 2, 11), by=BY)
    with on(date(2027, 7, 1)):
        count_cycles(first, 35, on=date(2027, 6, 1), by=BY)
        remove(driver, on=date(2027, 6, 2), why=Fitting.Why.WORN, by=BY, out_of_use=True)
        second = a_pack()
        count_cycles(second, 100, on=date(2027, 6, 2), by=BY)
        fit(second, driver, on=date(2027, 6, 2), by=BY)
        count_cycles(second, 125, on=date(2027, 7, 1), by=BY)
        actions.count_running_hours(date(2027, 7, 1))
    reach = queries.reaches(Due.objects.select_related("plan", "device__use").get())[0]
    assert (reach.limit, reach.used, reach.every) == (Limit.CYCLES, 55.0, 60)
    # 25 cycles in the last 30 days: the other 5 take 6.
    assert Due.objects.get().due_on == date(2027, 7, 7)


def test_the_page_of_a_restart(technician: Person, ward_nurse: Person, outsider: Person) -> None:
    """The bench records it from the driver's page; a ward may not, and elsewhere the driver does not exist."""
    device = a_counted_due().device
    read(device, 290, date(2027, 5, 1))
    address = reverse("schedules:restart", args=[device.asset_number])
    assert address in page(technician, reverse("reports:device", args=[device.asset_number]))
    assert (status(ward_nurse, address), status(outsider, address)) == (403, 404)
    client = signed_in(technician)
    assert "This field is required" in client.post(address, {"reads": "0", "why": " "}).content.decode()
    client.post(address, {"reads": "2,5", "last": "", "why": "main board replaced"})
    assert queries.total_hours(Device.objects.get(pk=device.pk)) == Decimal("290.0")
    assert "with the counters before it" in page(technician, reverse("reports:device", args=[device.asset_number]))
