"""Persons: who they are, what they may do (Django groups) and the places they see."""

from django.contrib.auth.models import AbstractUser
from django.db import models

from fleet.core.permissions import May


class Person(AbstractUser):
    """Somebody who signs in. Duties come from groups; places bound what is seen."""

    display_name = models.CharField("name shown to others", max_length=80)
    phone = models.CharField("phone or bleep", max_length=40, blank=True)
    wants_digest = models.BooleanField("morning e-mail", default=True)
    everywhere = models.BooleanField("sees all places", default=False)
    places = models.ManyToManyField("fleet.Place", blank=True, related_name="people")

    class Meta:
        ordering = ["display_name"]
        permissions = [(duty.value, duty.label) for duty in May]

    def __str__(self) -> str:
        return self.display_name or self.username

    def may(self, duty: May) -> bool:
        """Whether the person's groups grant the duty."""
        return self.has_perm(f"fleet.{duty.value}")
