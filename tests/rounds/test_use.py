"""What a round says of who is in use: by the ward's word, visits, loans and counters, with the age of each."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.core.usage import Use
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds.actions import end
from fleet.rounds.models import RoundStop
from fleet.rounds.queries import Sign, round_page, signs
from fleet.schedules.models import CounterReading
from fleet.tags.actions import say_use
from fleet.web import clock
from tests.builders import BY, a_device
from tests.loans.builders import a_loan, a_pool_driver
from tests.pages import page
from tests.rounds.builders import a_due_driver, a_round, noon, stopped
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db

NOW = noon(20)


def sign_of(device: Device) -> Sign:
    """What is known at noon of 20 November."""
    with clock.at(NOW):
        found = signs([Device.objects.get(pk=device.pk)])[device.pk]
    return Sign(found.use, tuple(words.replace("\u00a0", " ") for words in found.words), found.condition)


def read(device: Device, *totals: tuple[int, str]) -> None:
    """Readings of its counter: days back, hours."""
    for back, total in totals:
        day = NOW.date() - timedelta(days=back)
        CounterReading.objects.create(device=device, counter="hours", read_on=day, total=Decimal(total))


def test_nothing_on_record_is_not_known() -> None:
    """No guess stands in for knowledge."""
    assert sign_of(a_device()) == Sign(Use.UNKNOWN)


def test_a_counter_tells_how_it_went_lately() -> None:
    """70 hours over two weeks are 5 h a day; one that shows the same since 3 November has not run since."""
    ran, stood = a_device(), a_device()
    read(ran, (14, "100"), (0, "170"))
    read(stood, (30, "80"), (17, "100"), (2, "100"))
    assert sign_of(ran) == Sign(Use.LIKELY_USED, ("ran about 5 h a day over the last 14 days, by its counter",))
    words = "not run since 3 Nov 2026, by its counter (read on 18 Nov 2026)"
    assert sign_of(stood) == Sign(Use.LIKELY_IDLE, (words,))


def test_a_reading_that_the_night_has_still_to_keep_counts() -> None:
    """What the driver shows today is read beside the readings kept."""
    device = a_device()
    read(device, (14, "100"))
    Device.objects.filter(pk=device.pk).update(running_hours=Decimal(170), running_hours_at=NOW)
    assert sign_of(device).use is Use.LIKELY_USED


def test_one_out_of_use_reads_what_it_is_and_not_its_counter(technician: Person) -> None:
    """Its counter ran until it was tagged; card, list and sheet say that it is tagged, and "likely in use" nowhere."""
    device, sound = a_due_driver(), a_due_driver()
    read(device, (14, "100"), (0, "170"))
    with clock.at(NOW):
        visit = a_round()
        an_open_tag(device)
        sign = sign_of(device)
        assert (sign.use, sign.condition) == (Use.UNKNOWN, "out_of_use")
        assert sign.words[0] == "since 20 Nov 2026"
        for address in (
            f"{reverse('rounds:one', args=[visit.pk])}?code={device.asset_number}",
            reverse("rounds:sheet", args=[visit.pk]),
        ):
            shown = page(technician, address)
            assert "Out of use (tagged)" in shown
            assert "Likely in use" not in shown
        counted = [(sign.use, sign.condition, number) for sign, number in round_page(visit).uses]
        assert counted == [(Use.UNKNOWN, "", 1), (Use.UNKNOWN, "out_of_use", 1)]
        assert sign_of(sound).condition == ""


def test_one_out_of_use_that_was_just_met_on_a_patient_is_in_use() -> None:
    """What somebody saw today is louder than what the record says it should be."""
    device = a_due_driver()
    with clock.at(NOW - timedelta(hours=1)):
        visit = a_round()
        an_open_tag(device)
        stopped(visit, Device.objects.get(pk=device.pk), "in_use")
    assert (sign_of(device).use, sign_of(device).condition) == (Use.IN_USE, "")


def test_a_round_that_ended_asks_nobody_before_one_is_taken(technician: Person) -> None:
    """The sentence stands while the round goes on, and not on its page afterwards."""
    a_due_driver()
    visit = a_round()
    address = reverse("rounds:one", args=[visit.pk])
    assert "Before you take one, ask the ward" in page(technician, address)
    end(visit, by=BY)
    ended = page(technician, address)
    assert "running-hours counters" in ended
    assert "Before you take one" not in ended


def test_the_wards_word_outweighs_what_was_found_before() -> None:
    """Found in use on Monday's round, said idle two hours ago: idle, with both ages."""
    device, visit = a_due_driver(), a_round()
    stopped(visit, device, "in_use")
    RoundStop.objects.update(at=NOW - timedelta(days=4))
    device.dues.get().attempts.update(tried_at=NOW - timedelta(days=4))
    Device.objects.filter(pk=device.pk).update(condition_since=NOW - timedelta(days=30))
    with clock.at(NOW - timedelta(hours=2)):
        say_use(device, in_use=False, by=BY)
    found = sign_of(device)
    assert (found.use, found.words[0]) == (Use.IDLE, "Ward 4 said idle, 2 hours ago")
    assert found.words[1].startswith("found in use on a visit, ")


def test_a_driver_lent_is_likely_in_use() -> None:
    """A loan that is out says to whom and until when."""
    with clock.at(NOW):
        loan = a_loan(a_pool_driver())
    found = sign_of(loan.device)
    assert found.use is Use.LIKELY_USED
    assert found.words[0].startswith(f"lent to {loan.to_place}, to come back ")


def test_idle_first_on_the_page_and_on_paper(technician: Person) -> None:
    """Asked for, the driver that the ward called idle leads both lists; each carries its word."""
    first, idle = a_due_driver(), a_due_driver()
    visit = a_round()
    say_use(idle, in_use=False, by=BY)
    say_use(first, in_use=True, by=BY)
    for name in ("one", "sheet"):
        address = reverse(f"rounds:{name}", args=[visit.pk])
        listed, asked = page(technician, address), page(technician, f"{address}?first=idle")
        assert listed.index(first.asset_number) < listed.index(idle.asset_number)
        assert asked.index(idle.asset_number) < asked.index(first.asset_number)
        assert "Ward 4 said idle" in asked
    assert [(sign.use, number) for sign, number in round_page(visit).uses] == [(Use.IDLE, 1), (Use.IN_USE, 1)]


def test_the_reads_do_not_grow_with_the_drivers() -> None:
    """Two drivers cost as many queries as six."""
    devices = [a_device() for _ in range(6)]
    counts = []
    for rows in (devices[:2], devices):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            signs(rows)
        counts.append(len(asked))
    assert counts[0] == counts[1]
