"""Who was given an order by whom, and what was told of the training of whoever worked on it."""

from django.conf import settings
from django.db import models

from fleet.bench.models.orders import Order


class Handover(models.Model):
    """An order was given to somebody (to nobody: everybody's again). Undone, it stays on record and says so."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="handovers")
    to = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="handovers")
    was = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    by_name = models.CharField(max_length=120)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_name = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.order} to {self.to or 'nobody'}"


class TrainingTold(models.Model):
    """What was on record of somebody's training when they began to work on an order. Never changed afterwards."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="training_told")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    person_name = models.CharField(max_length=120)
    covered = models.BooleanField("training in date was on record")
    words = models.CharField(max_length=120)
    told_at = models.DateTimeField()

    class Meta:
        ordering = ["told_at", "id"]
        constraints = [models.UniqueConstraint(fields=["order", "person"], name="training_told_once")]

    def __str__(self) -> str:
        return f"{self.person_name}: {self.words}"
