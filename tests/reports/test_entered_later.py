"""When something was done and when it was entered are two times, and where they lie apart, pages say so."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.people.models import Person
from fleet.registry.actions import see
from fleet.registry.models import Device
from fleet.schedules.actions import attempt, look_in_vain
from fleet.schedules.models import DueAttempt
from fleet.web import clock, phrases
from tests.alerts.builders import an_alert
from tests.batteries.builders import a_fitted_device, a_logged_test
from tests.builders import BY, a_device, a_ward
from tests.libraries.builders import a_version, carried
from tests.pages import page
from tests.schedules.builders import a_due
from tests.tags.builders import a_raised_tag

pytestmark = pytest.mark.django_db
THREE_DAYS = timedelta(days=3, hours=1)


def by_hand(at: datetime) -> Device:
    return an_alert(at=at).device


def library(at: datetime) -> Device:
    device = a_device()
    carried(device, a_version(released_on=date(2020, 1, 1)), at)
    return device


def runtime_test(at: datetime) -> Device:
    device = a_fitted_device()
    return a_logged_test(device, started_at=at - timedelta(hours=5), stopped_at=at).device


def tag(at: datetime) -> Device:
    device = a_device()
    a_raised_tag(device, happened_at=at)
    return device


def search(at: datetime) -> Device:
    device = a_device()
    look_in_vain(device, a_ward(), at=at, by=BY)
    return device


def visit_in_vain(at: datetime) -> Device:
    due = a_due()
    attempt(due, DueAttempt.Reason.IN_USE, at=at, by=BY)
    return due.device


def seen(at: datetime) -> Device:
    device = a_device()
    see(device, a_ward(), "ward round", at=at, by=BY)
    return device


STATED: list[Callable[[datetime], Device]] = [by_hand, library, runtime_test, tag, search, visit_in_vain, seen]


@pytest.mark.parametrize("stated", STATED, ids=lambda each: each.__name__)
def test_each_act_with_a_stated_time_keeps_both_and_says_so(
    stated: Callable[[datetime], Device], technician: Person
) -> None:
    """Done three days ago and entered now: the trail holds both, and the driver's history says how much later."""
    at = clock.now() - THREE_DAYS
    device = stated(at)
    entry = TrailEntry.objects.filter(device_ref=device.pk, done_at=at).latest("pk")
    assert entry.late
    assert entry.entered_at - entry.done_at >= THREE_DAYS
    assert "entered 3 days later" in page(technician, reverse("reports:history", args=[device.asset_number]))


def test_what_is_entered_at_once_bears_no_label(technician: Person) -> None:
    """An act of now is not called late."""
    device = by_hand(clock.now())
    assert "later" not in page(technician, reverse("reports:history", args=[device.asset_number]))


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (1, ""),
        (23.9, ""),
        (24, "entered 1 day later"),
        (72, "entered 3 days later"),
        (24 * 21, "entered 3 weeks later"),
    ],
)
def test_the_span_is_counted_down(hours: float, words: str) -> None:
    """Up to a day nothing is said; from then on whole days, weeks, months, never rounded up."""
    done = datetime(2027, 3, 14, 12, tzinfo=UTC)
    assert phrases.later(done, done + timedelta(hours=hours)) == words


def test_nobody_states_when_it_was_entered(technician: Person) -> None:
    """Whatever time a form states, the time of entry is the server's."""
    with clock.at(datetime(2027, 3, 14, 12, tzinfo=UTC)):
        device = by_hand(datetime(2027, 3, 10, 12, tzinfo=UTC))
    told = TrailEntry.objects.filter(device_ref=device.pk).latest("pk")
    assert told.entered_at == datetime(2027, 3, 14, 12, tzinfo=UTC)
