"""The job table. The row is the truth: a broker may lose every message and no work is lost."""

from django.db import models
from django.db.models import Q


class Job(models.Model):
    """One piece of work to be done once. Claimed by a conditional update, held by a lease, kept as a run record."""

    class State(models.TextChoices):
        QUEUED = "queued", "Waiting"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"

    kind = models.CharField(max_length=40)
    # One row per key: the nightly jobs use the date, so that two timetables raise one job.
    key = models.CharField(max_length=120, unique=True)
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State, default=State.QUEUED)
    created_at = models.DateTimeField()
    not_before = models.DateTimeField()
    sent_at = models.DateTimeField("last handed to the broker", null=True, blank=True)
    claimed_by = models.CharField(max_length=120, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    progress = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(null=True, blank=True)
    counts = models.JSONField(default=dict)
    error = models.TextField(blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                name="job_running_has_lease",
                condition=~Q(state="running") | (Q(lease_until__isnull=False) & ~Q(claimed_by="")),
            ),
            models.CheckConstraint(name="job_failed_has_error", condition=~Q(state="failed") | ~Q(error="")),
        ]
        indexes = [
            models.Index(fields=["not_before"], name="job_queued", condition=Q(state="queued")),
            models.Index(fields=["lease_until"], name="job_running", condition=Q(state="running")),
            models.Index(fields=["kind", "-id"], name="job_by_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} ({self.key})"
