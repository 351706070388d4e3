"""Reading the job table: what ran last, what runs, what may be claimed."""

from datetime import date, datetime

from django.db.models import Max, Q, QuerySet

from fleet.jobs import pace, timetable
from fleet.jobs.models import Job

ENDED = (Job.State.DONE, Job.State.FAILED)
ACTIVE = (Job.State.QUEUED, Job.State.RUNNING)


def jobs() -> QuerySet[Job]:
    """Every job ever raised, the latest first."""
    return Job.objects.order_by("-id")


def latest_of_each_kind() -> dict[str, Job]:
    """The last job raised of each kind."""
    last = Job.objects.order_by().values("kind").annotate(last=Max("id")).values("last")
    return {job.kind: job for job in Job.objects.filter(pk__in=last)}


def free(now: datetime) -> Q:
    """What a worker may claim: a waiting job whose time has come, or one whose worker has gone silent."""
    return Q(state=Job.State.QUEUED, not_before__lte=now) | Q(state=Job.State.RUNNING, lease_until__lt=now)


def silent(now: datetime) -> QuerySet[Job]:
    """Running jobs whose lease has run out: their worker was killed, or cannot reach the database."""
    return Job.objects.filter(state=Job.State.RUNNING, lease_until__lt=now).order_by("lease_until")


def unheard(now: datetime) -> QuerySet[Job]:
    """Waiting jobs whose time has come and whose last message, if there was one, nobody has followed."""
    lost = Q(sent_at__isnull=True) | Q(sent_at__lt=now - pace.RESEND)
    return Job.objects.filter(lost, state=Job.State.QUEUED, not_before__lte=now).order_by("not_before")


def nightly_states(day: date) -> dict[str, str]:
    """The state of each nightly job that has been raised for the day, by kind."""
    keys = {entry.key(day): entry.kind for entry in timetable.NIGHTLY}
    return {keys[key]: state for key, state in Job.objects.filter(key__in=keys).values_list("key", "state")}
