"""Signatures under orders, and who has an order open now."""

from django.conf import settings
from django.db import models

from fleet.bench.models.orders import Order


class Signature(models.Model):
    """Who signed an order, when and as what. `parts` holds a digest of each part of the record as it was signed.

    `digest` binds the parts to name, time and meaning; the trail holds it too. Nothing here is ever changed.
    """

    class Meaning(models.TextChoices):
        DONE = "done", "Work done as recorded"
        SECOND = "second", "Checked by a second person"
        ENDED = "ended", "Ended as recorded, without a return"

    order = models.ForeignKey(Order, models.PROTECT, related_name="signatures")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=8, choices=Meaning)
    signed_at = models.DateTimeField()
    parts = models.JSONField()
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["signed_at", "id"]

    def __str__(self) -> str:
        return f"{self.by_name}: {self.get_meaning_display()}"


class Presence(models.Model):
    """When somebody last had an order open, and at which step. No record: it says who is at it now."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="presences")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField("step that is open", null=True, blank=True)
    seen_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["order", "person"], name="presence_once")]

    def __str__(self) -> str:
        return f"{self.person} at {self.order}"
