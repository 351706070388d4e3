"""Hours by person and activity, how soon a driver was taken in, how soon something was found; each with its number."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.bench import actions as bench
from fleet.bench.models import Labour
from fleet.bench.queries.labour import labour
from fleet.people.models import Person
from tests.bench.builders import finish, fresh, good, put, received, step, work
from tests.bench.test_turnaround import MARCH, a_repair, on_day
from tests.builders import a_device
from tests.pages import page, signed_in
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db

PERIOD = {"first": MARCH[0].isoformat(), "last": MARCH[1].isoformat()}


def test_hours_are_told_by_person_and_activity(technician: Person, second_technician: Person) -> None:
    """Each person's minutes stand apart, waiting apart from work; all together is their sum."""
    order = a_repair(technician, 3, minutes=90)
    facts = {"order": order, "entered_at": order.completed_at}
    Labour.objects.create(person=second_technician, minutes=30, activity="testing", **facts)
    Labour.objects.create(person=second_technician, minutes=60, activity="waiting", **facts)
    found = labour(*MARCH, technician)
    assert [(row.name, row.total, row.waiting) for row in found.by_person] == [
        ("Bram Ostley", 1.5, pytest.approx(2 / 3)),
        ("Tova Lindqvarn", 1.5, 0),
    ]
    assert (found.overall.total, found.overall.by_activity) == (3.0, [1.5, 0.5, 0.0, 1.0])


def test_response_and_finding_are_measured_on_what_is_known(technician: Person) -> None:
    """A day from report to reception; three hours from there to the failed step; a repair without one is left out."""
    a_repair(technician, 4)
    with on_day(0):
        device = a_device(accepted_on=date(2025, 1, 1))
        an_open_tag(device)
    with on_day(1):
        order = received(device, technician)
    with on_day(1 + 3 / 24):
        put(order, 2, bench.Answer(value=str(Decimal(12))), technician)
    with on_day(2):
        put(order, 2, replace(good(step(order, 2)), changed="Drive cleaned"), technician)
        finish(work(fresh(order), technician), technician)
    speed = labour(*MARCH, technician).speed
    assert (speed.response, speed.responded) == (24, 2)
    assert (speed.found, speed.found_in, speed.repairs) == (pytest.approx(3), 1, 2)


def test_only_some_see_the_hours_of_single_persons(technician: Person, manager: Person) -> None:
    """A technician reads the hours of all together, on the page and in the file; a manager those of each person."""
    a_repair(technician, 3, minutes=90)
    query = f"?first={PERIOD['first']}&last={PERIOD['last']}"
    for address in (reverse("reports:turnaround"), reverse("reports:labour_csv")):
        told = {}
        for person in (technician, manager):
            answer = signed_in(person).get(address + query)
            told[person.pk] = (answer.getvalue() if answer.streaming else answer.content).decode()
        main = {pk: text.split("Hours, and how soon")[-1].split("What came of repairs")[0] for pk, text in told.items()}
        assert "Tova Lindqvarn" not in main[technician.pk]
        assert "Tova Lindqvarn" in main[manager.pk]
        assert "1.5" in main[technician.pk]


def test_what_is_outside_the_period_or_the_places_is_not_counted(technician: Person, outsider: Person) -> None:
    """Hours of another month, or read by somebody of another site, are none; the page says so."""
    a_repair(technician, 3, minutes=90)
    april = (MARCH[1] + timedelta(days=1), MARCH[1] + timedelta(days=30))
    assert labour(*april, technician).overall.total == 0
    assert labour(*MARCH, outsider).overall.total == 0
    assert labour(*MARCH, technician, kind="planned").overall.total == 0
    query = f"?first={PERIOD['first']}&last={PERIOD['last']}"
    assert "No minutes are on record" in page(outsider, reverse("reports:turnaround") + query)
