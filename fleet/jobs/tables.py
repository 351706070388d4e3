"""The history of jobs as a table, and how to narrow it."""

from datetime import datetime

import django_filters
import django_tables2 as tables
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.jobs import handlers, wording
from fleet.jobs.models import Job
from fleet.web import marks, phrases

STATE_SHAPES = {
    Job.State.QUEUED: "coming",
    Job.State.RUNNING: "due",
    Job.State.DONE: "pass",
    Job.State.FAILED: "fail",
}


def state_mark(job: Job) -> SafeString:
    """The state of a job as a shape and a word; a job that rests after a failure says so."""
    if job.state == Job.State.QUEUED and job.error:
        return marks.mark("coming", "Waiting, will try again")
    return marks.mark(STATE_SHAPES[Job.State(job.state)], job.get_state_display())


class JobTable(tables.Table):
    """One row a job, the latest first."""

    kind = tables.Column("Job", linkify=("jobs:run", {"pk": tables.A("pk")}), orderable=False)
    key = tables.Column("For", orderable=False)
    state = tables.Column("How it stands", orderable=False, accessor="pk")
    created_at = tables.Column("Raised", order_by="id")
    took = tables.Column("Took", orderable=False, accessor="pk", attrs={"cell": {"class": "number"}})
    counts = tables.Column("Counted", orderable=False, accessor="pk")

    class Meta:
        order_by = "-created_at"
        empty_text = "No job has run yet."

    def render_kind(self, value: str) -> str:
        """The kind in words."""
        return handlers.words(value)

    def render_key(self, value: str) -> str:
        """What the job is for: the day, or the intake; the kind stands beside it."""
        return wording.purpose(value)

    def render_state(self, record: Job) -> SafeString:
        """A shape and a word."""
        return state_mark(record)

    def render_created_at(self, value: datetime) -> str:
        """The local time."""
        return phrases.moment(timezone.localtime(value))

    def render_took(self, record: Job) -> str:
        """How long, once it has ended."""
        return wording.took(record) or "—"

    def render_counts(self, record: Job) -> SafeString | str:
        """What it counted, or what went wrong."""
        words = wording.short_error(record)
        return format_html('<span class="soft">{}</span>', words) if words else wording.counts(record) or "—"


def _kinds() -> list[tuple[str, str]]:
    return [(kind.name, kind.words) for kind in handlers.kinds().values()]


class JobFilter(django_filters.FilterSet):
    """Narrow the history by kind and by state."""

    kind = django_filters.ChoiceFilter(label="Job", choices=_kinds, empty_label="All jobs")
    state = django_filters.ChoiceFilter(label="How it stands", choices=Job.State.choices, empty_label="In any state")

    class Meta:
        model = Job
        fields = ("kind", "state")
