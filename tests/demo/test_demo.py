"""The demonstration hospital: the same seed tells the same story, and nothing in it breaks a rule of the house."""

import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.core.management import CommandError
from django.db.models import F, Sum

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Forecast
from fleet.batteries.queries import weighed
from fleet.bench.models import Order, PartUse
from fleet.bench.queries.procedures import shelves
from fleet.core.lifecycle import Condition
from fleet.core.orders import Outcome
from fleet.jobs import pace
from fleet.jobs.models import Job
from fleet.jobs.timetable import NIGHTLY
from fleet.libraries.models import CoverageSnapshot
from fleet.management.demo.awkward import CASES
from fleet.management.demo.people import CAST, PASSWORD
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.registry.models import Device
from fleet.schedules.models import DueDone
from fleet.stores.models import Movement, Purchase, Stock
from fleet.tags.models import Tag
from fleet.web import clock
from tests.demo.awkward import CHECKS, WORDS
from tests.demo.built import FEW, UNTIL, Demo, digest, run
from tests.standing import undone

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def db(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Let this module's tests share one database, undone after the last of them.

    The night's jobs run inside that transaction, where a heartbeat's own connection would only wait for its end.
    """
    with django_db_blocker.unblock(), undone(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(pace, "HEARTBEAT", timedelta(hours=1))
        yield


@pytest.fixture(scope="module")
def demo(db: None) -> Demo:
    """Build the small hospital twice, each time in an empty database; the second stays for the tests."""
    with undone():
        run()
        twin = digest()
    return Demo(run(), twin)


def test_the_same_seed_tells_the_same_story(demo: Demo) -> None:
    """Two builds in empty databases agree in every count and in every field that a reader sees."""
    assert digest() == demo.twin


def test_there_are_as_many_drivers_as_asked_for(demo: Demo) -> None:
    """--devices counts all drivers, also the retired and those still in their box."""
    assert Device.objects.count() == FEW


def test_each_driver_has_a_trail(demo: Demo) -> None:
    """No driver came to be, or to be anywhere, without an entry that says by whom."""
    told = TrailEntry.objects.values("device_ref")
    assert not Device.objects.exclude(pk__in=told).exists()


def test_whatever_is_in_service_was_accepted_and_has_no_open_tag(demo: Demo) -> None:
    """The scenario goes through the same gate as the hospital's own drivers."""
    in_service = Device.objects.filter(condition=Condition.IN_SERVICE)
    assert in_service.exists()
    assert not in_service.filter(accepted_on=None).exists()
    assert not Tag.objects.filter(cleared_at=None, device__in=in_service).exists()


def test_new_drivers_passed_an_acceptance_order(demo: Demo) -> None:
    """A driver delivered since the record began is accepted on the day its acceptance order was finished."""
    orders = Order.objects.filter(kind="acceptance", state="done").select_related("device")
    assert orders.exists()
    assert {order.device.accepted_on for order in orders} == {clock.local_day(order.completed_at) for order in orders}


def test_each_entry_stands_in_its_time(demo: Demo) -> None:
    """Nothing lies ahead of the last day, nothing was done after it was entered, and the trail grows with time."""
    entries = TrailEntry.objects.order_by("pk")
    moments = list(entries.values_list("entered_at", flat=True))
    assert [pair for pair in pairwise(moments) if pair[0] > pair[1]] == []
    assert clock.local_day(moments[-1]) <= UNTIL
    assert not entries.filter(done_at__gt=F("entered_at")).exists()


def test_three_years_leave_work_of_every_kind(demo: Demo) -> None:
    """Services late and on time, repairs with different outcomes, and drivers that turned out to have nothing."""
    outcomes = set(Order.objects.filter(kind="corrective", state="done").values_list("outcome", flat=True))
    assert {Outcome.REPAIRED.value, Outcome.NO_FAULT_FOUND.value, Outcome.USE_RELATED.value} <= outcomes
    assert set(DueDone.objects.values_list("late", flat=True)) == {True, False}


def test_the_stores_have_something_worth_a_look(demo: Demo) -> None:
    """Kits were issued, a batch has expired, keypads are late, a count found one missing, each stock is its sum."""
    assert PartUse.objects.filter(stock__isnull=False).count() > 5
    assert Stock.objects.filter(quantity__gt=0, expires_on__lt=UNTIL).exists()
    assert Purchase.objects.get(closed_on=None).expected_on < UNTIL
    assert Movement.objects.filter(kind="counted", change=-1).count() == 1
    assert Stock.objects.filter(saved_from__condition="retired", quantity=1).exists()
    assert all(row.quantity == row.movements.aggregate(n=Sum("change"))["n"] for row in Stock.objects.all())


def test_the_night_before_has_been(demo: Demo) -> None:
    """Coverage has a trend, packs have forecasts, and the page of jobs shows the runs; nobody was sent an e-mail."""
    assert CoverageSnapshot.objects.values("day").distinct().count() > 10
    assert Forecast.objects.exclude(basis=Forecast.Basis.NOT_ENOUGH).exists()
    assert set(Job.objects.filter(state=Job.State.DONE).values_list("kind", flat=True)) == {
        entry.kind for entry in NIGHTLY if entry.kind != "morning_digest"
    }


def test_prices_make_a_sensible_limit_of_each_type(demo: Demo) -> None:
    """What a failure in critical care is said to cost asks for a limit between 2 and 20 in 100."""
    assert demo.words
    found = weighed()
    assert found
    assert all(0.02 <= row.break_even <= 0.2 for row in found)


def test_procedures_are_in_force_to_come_and_waiting(demo: Demo) -> None:
    """The shelf shows one of each: a version replaced, one to come, and one that waits for the manager."""
    held = {each.procedure.code: each for each in shelves(UNTIL)}
    assert held["cleaning"].replaced
    assert held["loan-out"].coming
    waiting = held["service"].open
    assert waiting is not None
    assert waiting.state == "waiting"
    assert not waiting.writers.filter(username="manager").exists()


def test_each_role_can_sign_in_with_what_is_printed(demo: Demo) -> None:
    """The printed names and password work, stand for every role, and nobody else has a password."""
    printed = re.findall(r"^  ([a-z]+[0-9]?) +[A-Z]", demo.words, re.MULTILINE)
    people = Person.objects.filter(username__in=printed)
    assert {group for person in people for group in person.groups.values_list("name", flat=True)} == set(Role)
    assert all(person.check_password(PASSWORD) for person in people)
    others = Person.objects.exclude(username__in=printed)
    assert len(others) == len(CAST) - len(printed)
    assert not any(person.has_usable_password() for person in others)


def test_the_sign_ins_come_with_a_caution(demo: Demo) -> None:
    """--sign-ins prints names and password again, and says what they are not for."""
    words = run(sign_ins=True)
    assert PASSWORD in words
    assert "Never put a demo where others can reach it" in words


def test_a_second_build_is_refused(demo: Demo) -> None:
    """A database that holds drivers is left alone, and the words say how to start over."""
    with pytest.raises(CommandError, match="make reset"):
        run()
    assert Device.objects.count() == FEW


def test_each_awkward_case_is_looked_at() -> None:
    """A case added to the scenario is added to the checks too."""
    assert {case.name for case in CASES} == set(CHECKS) == set(WORDS)


@pytest.mark.parametrize("name", CHECKS)
def test_an_awkward_case_is_played_by_the_driver_named_for_it(demo: Demo, name: str) -> None:
    """Each driver on the list "worth a look" shows what the list says of it."""
    assets = re.findall(rf"^  (\w+) +.*{re.escape(WORDS[name])}", demo.words, re.MULTILINE)
    assert assets
    for device in Device.objects.filter(asset_number__in=assets):
        assert CHECKS[name](device), f"{device} does not play {name}"
