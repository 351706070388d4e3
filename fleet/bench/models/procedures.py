"""Procedures, their versions and steps."""

from django.db import models
from django.db.models import Q

from fleet.core.safety import Quantity
from fleet.registry.models import DeviceType
from fleet.stores.models import Instrument


class OrderKind(models.TextChoices):
    """Why a driver is on the bench."""

    CORRECTIVE = "corrective", "Repair"
    PLANNED = "planned", "Planned service"
    BATTERY = "battery", "Battery"
    ACCEPTANCE = "acceptance", "Acceptance"
    LIBRARY = "library", "Library update"


class Procedure(models.Model):
    """A named piece of bench work for one device type, or for all."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=10, choices=OrderKind)
    device_type = models.ForeignKey(DeviceType, models.PROTECT, null=True, blank=True, related_name="procedures")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ProcedureVersion(models.Model):
    """One version of a procedure. An order keeps the version it was started with."""

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    in_force_from = models.DateField()
    source = models.CharField("source of its limits", max_length=200, blank=True)

    class Meta:
        ordering = ["procedure", "-number"]
        constraints = [models.UniqueConstraint(fields=["procedure", "number"], name="procedure_version_once")]

    def __str__(self) -> str:
        return f"{self.procedure}, version {self.number}"


class Step(models.Model):
    """One line of a procedure version."""

    class Kind(models.TextChoices):
        CHECK = "check", "Check"
        READING = "reading", "Reading"
        NOTE = "note", "Note"

    version = models.ForeignKey(ProcedureVersion, models.PROTECT, related_name="steps")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind)
    words = models.CharField("what to do", max_length=200)
    caution = models.CharField(max_length=200, blank=True)
    unit = models.CharField(max_length=16, blank=True)
    low = models.DecimalField("lower limit", max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("upper limit", max_digits=12, decimal_places=4, null=True, blank=True)
    limit_source = models.CharField("source of the limits", max_length=160, blank=True)
    # With one, the limits of the profile that holds where the driver is at home judge too.
    quantity = models.CharField(
        "what is measured, for reference limits",
        max_length=14,
        blank=True,
        choices=[(each.value, each.label) for each in Quantity],
    )
    required = models.BooleanField("must pass before return", default=True)
    instrument_kind = models.CharField("instrument needed", max_length=12, choices=Instrument.Kind, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="step_position_once"),
            models.CheckConstraint(name="step_reading_has_unit", condition=~Q(kind="reading") | ~Q(unit="")),
            models.CheckConstraint(
                name="step_limits_in_order",
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=models.F("high")),
            ),
        ]

    def __str__(self) -> str:
        return self.words
