"""What ran, what runs, what went wrong, and putting a failed job back to wait."""

from dataclasses import dataclass
from datetime import datetime
from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from fleet.audit.actors import Actor, Source
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.jobs import actions, handlers, queries, timetable, wording
from fleet.jobs.models import Job
from fleet.jobs.tables import JobFilter, JobTable, state_mark
from fleet.web import clock
from fleet.web.guards import demand, guard
from fleet.web.paging import paged


@dataclass(frozen=True, slots=True)
class Latest:
    """The last run of one kind of job, ready to show."""

    words: str
    next_run: datetime | None
    job: Job | None
    state: SafeString
    took: str
    counts: str
    error: str


@guard(May.SEE_REPORTS)
@require_safe
def runs(request: HttpRequest) -> HttpResponse:
    """The latest run of each kind, then the history."""
    narrowed = JobFilter(request.GET, queryset=queries.jobs())
    table = JobTable(narrowed.qs)
    paged(request, table)
    return render(request, "jobs/runs.html", {"filter": narrowed, "table": table, **_latest()})


@guard(May.SEE_REPORTS)
@require_safe
def latest(request: HttpRequest) -> HttpResponse:
    """The first part of that page again: it renews itself while a job is running."""
    return render(request, "jobs/latest.html", _latest())


@guard(May.SEE_REPORTS)
@require_safe
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """One job: how it stands, what it counted, what went wrong."""
    job = get_object_or_404(Job, pk=pk)
    words, detail = wording.error(job)
    may_put_back = request.user.has_perm(f"fleet.{May.IMPORT_RECORDS.value}")
    context = {
        "job": job,
        "words": handlers.words(job.kind),
        "above": [("Jobs", reverse("jobs:runs"))],
        "purpose": wording.purpose(job.key),
        "state": state_mark(job),
        "counts": wording.counts(job),
        "took": wording.took(job),
        "active": job.state in queries.ACTIVE,
        "error": words,
        # A traceback names files of the server: for those who may act on it.
        "detail": detail if may_put_back else "",
        "may_put_back": may_put_back and job.state == Job.State.FAILED,
    }
    return render(request, "jobs/run.html", context)


@guard(May.SEE_REPORTS)
@require_safe
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """How far one job is; when it has ended, the page around it is asked to load again."""
    job = get_object_or_404(Job, pk=pk)
    if job.state not in queries.ACTIVE:
        return HttpResponseClientRefresh()
    return render(request, "jobs/progress.html", {"job": job})


@guard(May.SEE_REPORTS)
@require_POST
def put_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a failed job wait for a worker again."""
    demand(request, May.IMPORT_RECORDS)
    job = get_object_or_404(Job, pk=pk)
    try:
        actions.put_back(job, by=_acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"“{handlers.words(job.kind)}” waits for a worker again.")
    return redirect("jobs:run", pk=pk)


def _acting(request: HttpRequest) -> Actor:
    """The signed-in person as an actor; the people room, which knows persons better, stands above this one."""
    held = request.user.get_all_permissions()
    duties = frozenset(duty for duty in May if f"fleet.{duty.value}" in held)
    return Actor(str(request.user), Source.PAGE, duties, cast("int", request.user.pk))


def _latest() -> dict[str, object]:
    local = timezone.localtime(clock.now())
    raised = queries.nightly_states(local.date())
    last = queries.latest_of_each_kind()
    # The timetable's kinds stand first, and also before their first run.
    names = [*timetable.BY_KIND, *(name for name in last if name not in timetable.BY_KIND)]
    rows = [_latest_row(name, last.get(name), local, raised_today=name in raised) for name in names]
    return {"latest": rows, "active": any(job.state in queries.ACTIVE for job in last.values())}


def _latest_row(name: str, job: Job | None, local: datetime, *, raised_today: bool) -> Latest:
    return Latest(
        words=handlers.words(name),
        next_run=timetable.next_run(name, local, raised_today=raised_today),
        job=job,
        state=state_mark(job) if job else SafeString("not run yet"),
        took=wording.took(job) if job else "",
        counts=wording.counts(job) if job else "",
        error=wording.short_error(job) if job else "",
    )
