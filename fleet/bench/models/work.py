"""What an order gathers: answers at its steps, with their files."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.bench.models.orders import Order
from fleet.bench.models.procedures import LONGEST_OPTION, Step
from fleet.stores.models import Instrument
from fleet.web.uploads import StoredFile

#: What stands at a step that a recheck does not ask for, in nobody's name.
NOT_ASKED = "Not asked for: only the readings in doubt are measured again"


class Reading(models.Model):
    """What was answered at one step, once. A later answer stands beside the earlier one and counts instead of it."""

    class Verdict(models.TextChoices):
        PASS = "pass", "Pass"
        FAIL = "fail", "Fail"
        NOT_PROVEN = "near", "Not proven"
        NOT_APPLICABLE = "na", "Not applicable"

    order = models.ForeignKey(Order, models.PROTECT, related_name="readings")
    step = models.ForeignKey(Step, models.PROTECT, related_name="readings")
    value = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    as_typed = models.CharField(max_length=40, blank=True)
    chosen = models.CharField("option chosen", max_length=LONGEST_OPTION, blank=True)
    # The formula of a computed reading with the numbers that were put in.
    worked = models.CharField("worked out as", max_length=400, blank=True)
    note = models.TextField(blank=True)
    # Why it passes now, at a step that had failed before.
    changed = models.CharField("what changed since it failed", max_length=200, blank=True)
    verdict = models.CharField(max_length=4, choices=Verdict)
    taken_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="readings")
    instrument_overdue = models.BooleanField("taken with an instrument overdue for calibration", default=False)
    instrument_unnamed = models.BooleanField("taken without the instrument that its step needs", default=False)
    # What judged it, as `core.judgement` writes it down: a limit that is changed later changes no verdict given.
    judged = models.JSONField(default=dict, blank=True)
    latest = models.BooleanField(default=True)
    # Given by the form that sent it: the same answer sent twice is one answer.
    sent_key = models.CharField(max_length=40, null=True, blank=True, unique=True)
    entered_at = models.DateTimeField("entered at, where that was later", null=True, blank=True)

    class Meta:
        ordering = ["step__position", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["order", "step"], name="reading_latest_once", condition=Q(latest=True)),
            models.CheckConstraint(name="reading_na_has_reason", condition=~Q(verdict="na") | ~Q(note="")),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.get_verdict_display()}"

    @property
    def passed_over(self) -> bool:
        """Whether nobody answered: the order, a recheck, does not ask for the step."""
        return self.verdict == self.Verdict.NOT_APPLICABLE and self.by_id is None and self.note == NOT_ASKED


class ReadingFile(StoredFile):
    """A file attached at a step."""

    reading = models.OneToOneField(Reading, models.PROTECT, related_name="file")
