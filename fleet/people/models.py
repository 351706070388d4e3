"""Persons: who they are, what they may do (Django groups), what they see, how they sign in, when they are away."""

from typing import ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q

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


class Absence(models.Model):
    """Days on which a person is away, both in. Why is their own affair: others are told that they are away, no more."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="absences")
    first = models.DateField("first day away")
    last = models.DateField("last day away")
    reason = models.CharField(max_length=120, blank=True)
    entered_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    entered_name = models.CharField(max_length=120)
    entered_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField("holds no longer since", null=True, blank=True)
    withdrawn_name = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["first", "id"]
        indexes = [
            models.Index(fields=["last"], name="absence_standing", condition=Q(withdrawn_at__isnull=True)),
        ]
        constraints = [models.CheckConstraint(name="absence_in_order", condition=Q(last__gte=F("first")))]

    def __str__(self) -> str:
        return f"{self.person} away"


class RecoveryCode(models.Model):
    """A code that stands in for the app, once. A slow hash of it is kept, and nothing once it is used or replaced."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="recovery_codes")
    digest = models.CharField(max_length=128, blank=True)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField("used or replaced", null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"Recovery code of {self.person}"


class SignInRule(models.Model):
    """Who must have a second factor. One row; without it nobody must."""

    #: The one row's key.
    ONLY: ClassVar = 1

    class Must(models.TextChoices):
        NOBODY = "nobody", "Nobody must; everybody may"
        KEEPERS = "keepers", "Those who manage people, the register, the team or limits must"
        EVERYBODY = "everybody", "Everybody must"

    second_factor = models.CharField(max_length=9, choices=Must, default=Must.NOBODY)
    changed_at = models.DateTimeField()
    changed_by = models.CharField(max_length=120)

    def __str__(self) -> str:
        return "What a sign-in asks for"


class AccessEntry(models.Model):
    """A sign-in, its failure or end, its second factor, or a page that was refused. Never changed or deleted."""

    class Kind(models.TextChoices):
        SIGNED_IN = "in", "Signed in"
        FAILED = "failed", "Failed to sign in"
        SIGNED_OUT = "out", "Signed out"
        NOT_PROVEN = "proof", "Wrong password when asked again"
        HALFWAY = "half", "Password right, code asked for"
        WRONG_CODE = "code", "Wrong code of the second factor"
        LOCKED = "locked", "Code refused: too many wrong before it"
        RECOVERED = "saved", "Recovery code used"
        FACTOR_ON = "on", "Second factor turned on"
        FACTOR_OFF = "off", "Second factor turned off"
        FACTOR_LOST = "lost", "Second factor removed by an administrator"
        NEW_CODES = "codes", "New recovery codes made"
        NO_DUTY = "duty", "Refused: lacks the duty"
        ELSEWHERE = "place", "Refused: outside their places"

    at = models.DateTimeField()
    kind = models.CharField(max_length=6, choices=Kind)
    # Empty where the name that was typed is nobody's: people type their password there by mistake.
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    address = models.CharField("from", max_length=45, blank=True)
    path = models.CharField("page", max_length=200, blank=True)
    browser = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "access entries"
        indexes = [
            models.Index(fields=["person", "-id"], name="access_by_person"),
            models.Index(fields=["kind", "-id"], name="access_by_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.person or 'nobody known'}"
