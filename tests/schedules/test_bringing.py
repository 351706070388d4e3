"""A changed plan reaches the dues of many drivers by a job, in short batches."""

from datetime import date

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.jobs.models import Job
from fleet.jobs.work import run_job
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.schedules import actions, queries
from fleet.schedules.actions import bringing
from fleet.schedules.models import Due, Plan
from tests.builders import a_device
from tests.pages import page
from tests.schedules.builders import ACCEPTED, a_plan, on, stored

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(monkeypatch: pytest.MonkeyPatch, manager: Person) -> Plan:
    """A yearly service of five drivers, of which two are too many to do at once."""
    with on(ACCEPTED):
        drivers = [a_device(accepted_on=ACCEPTED) for _ in range(5)]
        row = a_plan(drivers[0].device_type)
        monkeypatch.setattr(bringing, "AT_ONCE", 2)
        monkeypatch.setattr(bringing, "BATCH", 2)
        actions.edit_plan(row, {"every_months": 6}, why="The maker's new manual.", by=actor_for(manager))
    return row


def test_the_change_stands_at_once_and_its_dues_follow_by_a_job(plan: Plan, manager: Person) -> None:
    """The plan is changed with the page, no due has moved yet, and the list of plans says so."""
    assert Plan.objects.get().every_months == 6
    assert set(Due.objects.values_list("due_on", flat=True)) == {date(2028, 1, 31)}
    assert queries.plans_on_their_way() == {plan.pk}
    assert "its dues are being reckoned" in page(manager, reverse("schedules:plans"))


def test_the_job_moves_every_due_under_the_name_of_who_changed_the_plan(plan: Plan, manager: Person) -> None:
    """After the job all dues and the columns on the drivers stand anew, and the trail names the person."""
    with on(ACCEPTED):
        job = run_job(Job.objects.get(kind=queries.BRING_JOB).pk)
    assert job is not None
    assert (job.state, job.counts) == (Job.State.DONE, {"drivers": 5})
    assert set(Due.objects.values_list("due_on", flat=True)) == {date(2027, 7, 31)}
    assert {stored(due.device)[0] for due in Due.objects.all()} == {date(2027, 7, 31)}
    moved = TrailEntry.objects.filter(verb="due moved by its plan")
    assert {entry.person_id for entry in moved} == {manager.pk}
    assert queries.plans_on_their_way() == set()


def test_a_job_begun_again_finds_what_is_still_to_do(plan: Plan) -> None:
    """Killed after its first batch and begun again, the job moves each due once."""
    with on(ACCEPTED):
        for _ in range(2):
            actions.bring_by_job(plan.pk, name="test", person_id=None)
    assert TrailEntry.objects.filter(verb="due moved by its plan").count() == 5
