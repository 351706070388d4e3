"""Reference limits by profile, and which profile and rule of acceptance hold at a place."""

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.core.judging import Acceptance
from fleet.core.safety import AppliedPart, Method, Protection, Quantity
from fleet.registry.models import Place


class LimitProfile(models.Model):
    """A set of limits that a site works by: those of a standard, or the house's own."""

    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=80, unique=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ReferenceLimit(models.Model):
    """One limit with its source. Never changed: a better one takes its place and this one stays on record.

    An empty class, type or method: it holds for any. Verified by somebody who did not enter it, or not yet.
    """

    profile = models.ForeignKey(LimitProfile, models.PROTECT, related_name="limits")
    quantity = models.CharField(max_length=14, choices=[(each.value, each.label) for each in Quantity])
    protection = models.CharField(
        "class of protection", max_length=1, blank=True, choices=[(each.value, each.label) for each in Protection]
    )
    applied_part = models.CharField(
        "type of applied part", max_length=2, blank=True, choices=[(each.value, each.label) for each in AppliedPart]
    )
    method = models.CharField(max_length=6, blank=True, choices=[(each.value, each.label) for each in Method])
    low = models.DecimalField("at least", max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("at most", max_digits=12, decimal_places=4, null=True, blank=True)
    unit = models.CharField(max_length=16)
    source = models.CharField(max_length=160)
    edition = models.CharField("edition or date of the source", max_length=60, blank=True)
    note = models.CharField("conditions", max_length=200, blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    entered_name = models.CharField(max_length=120)
    verified_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    verified_name = models.CharField(max_length=120, blank=True)
    verified_on = models.DateField(null=True, blank=True)
    verified_against = models.CharField("document and edition it was held against", max_length=160, blank=True)
    ended_at = models.DateTimeField("holds no longer since", null=True, blank=True)
    ended_why = models.CharField(max_length=200, blank=True)
    replaced_by = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaces", editable=False
    )

    class Meta:
        ordering = ["profile", "quantity", "protection", "applied_part", "method", "-entered_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["profile", "quantity", "protection", "applied_part", "method"],
                name="reference_limit_once",
                condition=Q(ended_at__isnull=True),
            ),
            models.CheckConstraint(
                name="reference_limit_has_a_bound", condition=Q(low__isnull=False) | Q(high__isnull=False)
            ),
            models.CheckConstraint(
                name="reference_limit_in_order",
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")),
            ),
            models.CheckConstraint(
                name="reference_limit_verified_by_another",
                condition=Q(verified_by__isnull=True) | Q(entered_by__isnull=True) | ~Q(verified_by=F("entered_by")),
            ),
            models.CheckConstraint(
                name="reference_limit_ended_with_reason", condition=Q(ended_at__isnull=True) | ~Q(ended_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_quantity_display()} ({self.profile})"


class LimitPolicy(models.Model):
    """By which profile and rule readings are judged at a place and in all below it; what is empty is inherited."""

    class Unnamed(models.TextChoices):
        """What becomes of a reading whose step needs an instrument, when none is named."""

        REFUSED = "refused", "Refused: it is saved once the instrument is named"
        MARKED = "marked", "Taken and marked"

    place = models.OneToOneField(Place, models.PROTECT, related_name="limit_policy")
    profile = models.ForeignKey(LimitProfile, models.PROTECT, null=True, blank=True, related_name="policies")
    acceptance = models.CharField(
        "rule of acceptance", max_length=8, blank=True, choices=[(each.value, each.label) for each in Acceptance]
    )
    jump_share = models.DecimalField(
        "jump shown beyond this share of the way to the limit",
        max_digits=3,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.05")), MaxValueValidator(Decimal(1))],
    )

    unnamed = models.CharField("no instrument named", max_length=8, blank=True, choices=Unnamed)

    class Meta:
        verbose_name_plural = "limit policies"
        constraints = [
            models.CheckConstraint(
                name="limit_policy_share_is_share",
                condition=Q(jump_share__isnull=True) | Q(jump_share__gt=0, jump_share__lte=1),
            )
        ]

    def __str__(self) -> str:
        return f"Limits at {self.place}"
