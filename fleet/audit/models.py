"""The trail: who did what, when, to which record, from what to what, and why. Rows are only added, and sealed."""

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


class Seal(models.Model):
    """A closed range of the trail's ids with the digest of each entry, chained to the seal before. Never changed.

    `leaves` and `digest` are made by `core.chain`. An entry with an id below `first` was committed after its range was
    sealed: it is taken up here and counted as late. Seals of one `run` were made together.
    """

    number = models.PositiveIntegerField(unique=True)
    run = models.PositiveIntegerField()
    sealed_at = models.DateTimeField()
    first = models.BigIntegerField("first id of the range")
    last = models.BigIntegerField("last id of the range")
    count = models.PositiveIntegerField("entries sealed")
    late = models.PositiveIntegerField("of them late", default=0)
    leaves = models.BinaryField()
    previous = models.CharField("digest of the seal before", max_length=64, blank=True)
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["-number"]

    def __str__(self) -> str:
        return f"seal {self.number}"
