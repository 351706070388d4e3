"""The page of runs: what ran, what went wrong, and putting it back."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.jobs import actions, work
from fleet.jobs.actions import enqueue
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.web import clock

SignIn = Callable[[Person], Client]
RUNS = reverse("jobs:runs")


@pytest.fixture
def sign_in(client: Client) -> SignIn:
    """Give a function that signs a person in."""

    def as_person(person: Person) -> Client:
        client.force_login(person)
        return client

    return as_person


def a_done_job(key: str = "done") -> Job:
    job = work.run_job(enqueue("test_quick", key=key, send=False).pk)
    assert job is not None
    return job


def a_failed_job(kind: str = "test_refused") -> Job:
    job = work.run_job(enqueue(kind, key=f"failed {kind}", send=False).pk)
    assert job is not None
    return job


def page(client: Client, address: str = RUNS) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_page_tells_the_last_run_of_each_kind_and_its_next(technician: Person, sign_in: SignIn) -> None:
    """Words, counts in words and how it ended for what ran; what never ran stands there too, with its next run."""
    a_done_job()
    shown = page(sign_in(technician))
    assert "Count the spoons" in shown
    assert "3 spoons, 1 of silver" in shown
    assert "took " in shown
    assert "not run yet" in shown
    assert "#mark-pass" in shown


def test_a_page_without_any_job_says_so(technician: Person, sign_in: SignIn) -> None:
    """An empty history is told in words."""
    assert "No job has run yet." in page(sign_in(technician))


def test_the_history_is_narrowed_by_kind_and_state(technician: Person, sign_in: SignIn) -> None:
    """Only the rows asked for stand in the history; the last runs stay."""
    a_done_job("spoons of March")
    a_failed_job()
    client = sign_in(technician)
    assert "failed test_refused" in page(client, f"{RUNS}?state=failed")
    assert "spoons of March" not in page(client, f"{RUNS}?state=failed")
    assert "failed test_refused" not in page(client, f"{RUNS}?kind=test_quick")
    assert "failed test_refused" not in page(client, f"{RUNS}?kind=test_refused&state=done")


def test_a_running_job_shows_its_progress_and_renews_itself(technician: Person, sign_in: SignIn) -> None:
    """While a job runs, its part of the page comes again every 2 s; otherwise seldom."""
    client = sign_in(technician)
    assert 'hx-trigger="every 30s"' in page(client)
    job = actions.claim(enqueue("test_quick", key="running", send=False).pk)
    assert job is not None
    actions.hold(job, done=4, total=10)
    part = page(client, reverse("jobs:latest"))
    assert 'hx-trigger="every 2s"' in part
    assert '<progress value="4" max="10">' in part
    assert "<html" not in part
    assert '<progress value="4" max="10">' in page(client, reverse("jobs:run", args=[job.pk]))


def test_the_page_of_a_job_is_loaded_again_at_its_end(technician: Person, sign_in: SignIn) -> None:
    """The part with the progress asks the browser for the whole page as soon as the job has ended."""
    job = actions.claim(enqueue("test_quick", key="ending", send=False).pk)
    assert job is not None
    client = sign_in(technician)
    address = reverse("jobs:progress", args=[job.pk])
    assert "HX-Refresh" not in client.get(address)
    actions.finish(job, {"spoons": 1}, done=1, total=1)
    assert client.get(address)["HX-Refresh"] == "true"


def test_a_job_that_rests_says_when_it_is_tried_again(technician: Person, sign_in: SignIn) -> None:
    """After a failure the page tells that it is not over."""
    job = a_failed_job("test_failing")
    assert job.not_before > clock.now() + timedelta(seconds=1)
    assert "will try again" in page(sign_in(technician))


def test_the_detail_of_an_error_is_for_those_who_may_act_on_it(
    technician: Person, manager: Person, sign_in: SignIn
) -> None:
    """Everybody who sees reports reads what went wrong; file names of the server only a manager."""
    address = reverse("jobs:run", args=[a_failed_job("test_failing").pk])
    assert "attempt 1 divided by nothing" in page(sign_in(technician), address)
    assert "errands.py" not in page(sign_in(technician), address)
    assert "errands.py" in page(sign_in(manager), address)


def test_a_manager_puts_a_failed_job_back(manager: Person, sign_in: SignIn) -> None:
    """The job waits again, the page says so, and the trail names the manager."""
    job = a_failed_job()
    client = sign_in(manager)
    assert "Put it back to wait" in page(client, reverse("jobs:run", args=[job.pk]))
    answer = client.post(reverse("jobs:put_back", args=[job.pk]), follow=True)
    assert "waits for a worker again" in answer.content.decode()
    job.refresh_from_db()
    assert job.state == Job.State.QUEUED
    entry = TrailEntry.objects.filter(subject_kind="job").get()
    assert (entry.person_id, entry.source) == (manager.pk, "page")


def test_putting_back_what_has_not_failed_is_refused_in_words(manager: Person, sign_in: SignIn) -> None:
    """A second press, or a stale page, changes nothing and says why."""
    job = a_done_job()
    answer = sign_in(manager).post(reverse("jobs:put_back", args=[job.pk]), follow=True)
    assert "only a failed job can be put back" in answer.content.decode()
    job.refresh_from_db()
    assert job.state == Job.State.DONE


def test_a_technician_reads_but_does_not_put_back(technician: Person, sign_in: SignIn) -> None:
    """Without the duty to import records there is no button, and the address answers 403."""
    job = a_failed_job()
    client = sign_in(technician)
    assert "Put it back to wait" not in page(client, reverse("jobs:run", args=[job.pk]))
    assert client.post(reverse("jobs:put_back", args=[job.pk])).status_code == 403
    job.refresh_from_db()
    assert job.state == Job.State.FAILED


@pytest.mark.parametrize("name", ["runs", "latest"])
def test_a_ward_nurse_sees_no_jobs(name: str, ward_nurse: Person, sign_in: SignIn) -> None:
    """The page is for those who see reports."""
    assert sign_in(ward_nurse).get(reverse(f"jobs:{name}")).status_code == 403


def test_looking_changes_nothing(manager: Person, sign_in: SignIn) -> None:
    """Only a POST puts a job back."""
    job = a_failed_job()
    assert sign_in(manager).get(reverse("jobs:put_back", args=[job.pk])).status_code == 405


def test_the_pages_ask_a_bounded_number_of_questions(
    technician: Person, sign_in: SignIn, django_assert_max_num_queries: Callable[..., object]
) -> None:
    """However long the history, the page costs the same."""
    for number in range(40):
        enqueue("test_quick", key=f"one of many {number}", send=False)
    client = sign_in(technician)
    with django_assert_max_num_queries(11):
        page(client)
