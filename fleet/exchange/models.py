"""Files taken in: what was sent, what a dry run found, and what was committed."""

from typing import Self

from django.conf import settings
from django.db import models

from fleet.people.models import Person


class IntakeQuerySet(models.QuerySet["Intake"]):
    """Files sent in; each person sees their own, and who sees every place sees all."""

    def within(self, person: Person) -> Self:
        """Only the files the person may know of."""
        return self if person.everywhere else self.filter(sent_by=person)


class Intake(models.Model):
    """One uploaded file. Its text is kept as sent, so that the trail of an import can be followed to its source."""

    class Kind(models.TextChoices):
        DEVICES = "devices", "Devices"
        PACKS = "packs", "Packs"
        TESTS = "tests", "Runtime tests"
        ALERTS = "alerts", "Alerts"
        CYCLES = "cycles", "Cycle counts"

    class State(models.TextChoices):
        CHECKING = "checking", "Being checked"
        REFUSED = "refused", "Has rows to correct"
        READY = "ready", "Checked, ready to commit"
        COMMITTING = "committing", "Being committed"
        COMMITTED = "committed", "Committed"
        FAILED = "failed", "Stopped by an error"

    kind = models.CharField(max_length=8, choices=Kind)
    file_name = models.CharField(max_length=120)
    digest = models.CharField("SHA-256 of the file", max_length=64)
    content = models.BinaryField()
    encoding = models.CharField(max_length=20, blank=True)
    delimiter = models.CharField(max_length=4, blank=True)
    day_first = models.BooleanField("the day comes first; empty: no choice was made", null=True)
    decimal_comma = models.BooleanField(default=False)
    state = models.CharField(max_length=10, choices=State, default=State.CHECKING)
    rows = models.PositiveIntegerField(default=0)
    new_rows = models.PositiveIntegerField(default=0)
    same_rows = models.PositiveIntegerField("already known, unchanged", default=0)
    changed_rows = models.PositiveIntegerField(default=0)
    refused_rows = models.PositiveIntegerField(default=0)
    refusals = models.JSONField("row, field, value and what would be right", default=list)
    notes = models.JSONField("what to look at although it is not refused", default=list)
    changes = models.JSONField("row, field, value on record and value in the file", default=list)
    verdicts = models.TextField("what the check found of each row, a letter each", blank=True)
    checks = models.PositiveSmallIntegerField("how often it was checked", default=1)
    error = models.TextField(blank=True)
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    sent_at = models.DateTimeField()
    committed_at = models.DateTimeField(null=True, blank=True)

    objects = IntakeQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.file_name} ({self.get_kind_display()})"
