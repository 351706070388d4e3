"""How risky a type is, and what the hospital decided about its planned work."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from fleet.core.risk import Scale, Score, Variant
from fleet.registry.models import DeviceType


class RiskClass(models.Model):
    """The points of one class on one scale of the risk score: reference data that the hospital may correct."""

    scale = models.CharField(max_length=12, choices=[(scale.value, scale.label) for scale in Scale])
    label = models.CharField("class", max_length=80)
    points = models.SmallIntegerField()
    source = models.CharField(max_length=200)
    from_memory = models.BooleanField("points not yet checked against the source", default=True)
    checked_by = models.CharField(max_length=120, blank=True)
    checked_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["scale", "-points"]
        verbose_name_plural = "risk classes"
        constraints = [models.UniqueConstraint(fields=["scale", "label"], name="risk_class_once_per_scale")]

    def __str__(self) -> str:
        return self.label


class TypeRisk(models.Model):
    """The risk score of a type as it was reckoned: each class with its points then, the variant, the rule and who."""

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="risks")
    function = models.CharField(max_length=80)
    function_points = models.SmallIntegerField()
    risk = models.CharField("physical risk", max_length=80)
    risk_points = models.SmallIntegerField()
    maintenance = models.CharField("required maintenance", max_length=80)
    maintenance_points = models.SmallIntegerField()
    history = models.CharField("incident history", max_length=80, blank=True)
    history_points = models.SmallIntegerField(null=True, blank=True)
    score = models.SmallIntegerField()
    variant = models.CharField(max_length=8, choices=[(variant.value, variant.label) for variant in Variant])
    rule = models.CharField("version of the rule", max_length=40)
    from_memory = models.BooleanField("by points not yet checked against their source", default=True)
    note = models.TextField(blank=True)
    scored_at = models.DateTimeField()
    scored_by = models.CharField(max_length=120)
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-scored_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["device_type"], name="type_risk_stands_once", condition=Q(replaced_at__isnull=True)
            )
        ]

    def __str__(self) -> str:
        return f"{self.device_type}: {self.score}"

    @property
    def reckoned(self) -> Score:
        """The score as terms."""
        return Score(self.function_points, self.risk_points, self.maintenance_points, self.history_points)


class HouseRule(models.Model):
    """What the hospital decides about its planned work. One row; without it the defaults hold."""

    #: The one row's key.
    ONLY: ClassVar = 1

    history_months = models.PositiveSmallIntegerField("months of use before an interval may be lengthened", default=24)
    history_years = models.PositiveIntegerField(
        "driver-years of use before others than a manager may lengthen it", default=50
    )
    search_attempts = models.PositiveSmallIntegerField("days looked for in vain before it is not located", default=3)
    search_days = models.PositiveSmallIntegerField("days from the first such day to the last, at least", default=14)
    changed_at = models.DateTimeField()
    changed_by = models.CharField(max_length=120)

    def __str__(self) -> str:
        return "House rules"
