"""The trail: who did what, when, to which record, from what to what, and why. Rows are only ever added."""

from django.conf import settings
from django.db import models

from fleet.audit.actors import Source


class TrailEntry(models.Model):
    """One act. The database refuses to change or delete a row (see fleet/audit/guard.py)."""

    entered_at = models.DateTimeField("entered at (server time)")
    done_at = models.DateTimeField("done at")
    late = models.BooleanField("entered later than done", default=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    actor = models.CharField(max_length=120)
    source = models.CharField(max_length=20, choices=[(source.value, source.value) for source in Source])
    verb = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.BigIntegerField(null=True)
    subject_name = models.CharField(max_length=120)
    # A plain number, not a foreign key: the trail stands below the registry and outlives what it tells of.
    device_ref = models.BigIntegerField("device", null=True)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    why = models.TextField(blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["device_ref", "-id"], name="trail_by_device"),
            models.Index(fields=["subject_kind", "subject_id", "-id"], name="trail_by_subject"),
            models.Index(fields=["person", "-id"], name="trail_by_person"),
        ]

    def __str__(self) -> str:
        return f"{self.actor} {self.verb} {self.subject_name}"
