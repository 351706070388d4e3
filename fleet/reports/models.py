"""What the reports room keeps: which morning digests were sent."""

from django.conf import settings
from django.db import models


class DigestSent(models.Model):
    """A morning digest that went to a person for a day. One row per person and day: nobody gets it twice."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    day = models.DateField()
    sent_at = models.DateTimeField()
    lines = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["-day", "person"]
        verbose_name_plural = "digests sent"
        constraints = [models.UniqueConstraint(fields=["person", "day"], name="digest_once_a_day")]

    def __str__(self) -> str:
        return f"{self.person}, {self.day}"
