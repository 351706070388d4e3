"""Test instruments and their calibration: what makes a reading traceable."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Party, Place


class InstrumentQuerySet(PlacedQuerySet["Instrument"]):
    """Instruments, seen from the bench or store where they are kept."""

    path_lookups = ("place__path",)


class Instrument(models.Model):
    """A test instrument of the bench. Never deleted; one that is no longer used is withdrawn with its reason."""

    class Kind(models.TextChoices):
        BALANCE = "balance", "Balance"
        FLOW = "flow", "Flow analyser"
        SAFETY = "safety", "Electrical safety analyser"
        PRESSURE = "pressure", "Pressure gauge"
        METER = "meter", "Multimeter"
        TIMER = "timer", "Timer"
        THERMOMETER = "thermometer", "Thermometer"
        OTHER = "other", "Other"

    number = models.CharField("instrument number", max_length=30, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=Kind)
    maker = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    model = models.CharField(max_length=60, blank=True)
    serial_number = models.CharField(max_length=40, blank=True)
    place = models.ForeignKey(Place, models.PROTECT, related_name="instruments")
    uncertainty = models.DecimalField(
        "uncertainty (expanded)",
        max_digits=12,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    uncertainty_unit = models.CharField(max_length=16, blank=True, help_text="A unit, or % of the reading")
    coverage_factor = models.DecimalField(max_digits=3, decimal_places=1, default=Decimal("2.0"))
    every_months = models.PositiveSmallIntegerField("calibrated every so many months", default=12)
    refused_when_overdue = models.BooleanField("readings are refused when its calibration is overdue", default=True)
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    objects = InstrumentQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                name="instrument_withdrawn_with_reason",
                condition=Q(withdrawn_on__isnull=True) | ~Q(withdrawn_why=""),
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class Calibration(models.Model):
    """One calibration of an instrument: when, by whom, which certificate, how it was found. Voided, never deleted."""

    class AsFound(models.TextChoices):
        WITHIN = "within", "Within its limits"
        OUT = "out", "Out of its limits"
        NOT_KNOWN = "unknown", "Not known (first calibration)"

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="calibrations")
    done_on = models.DateField()
    due_on = models.DateField("next calibration due")
    certificate = models.CharField("certificate number", max_length=60)
    laboratory = models.CharField(max_length=120)
    as_found = models.CharField(max_length=8, choices=AsFound)
    found_words = models.CharField("what was found", max_length=200, blank=True)
    usable = models.BooleanField("within its limits when it left the laboratory", default=True)
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=120)
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-done_on", "-id"]
        constraints = [
            models.CheckConstraint(name="calibration_due_after_done", condition=Q(due_on__gt=F("done_on"))),
            models.CheckConstraint(
                name="calibration_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
            models.CheckConstraint(name="calibration_out_says_how", condition=~Q(as_found="out") | ~Q(found_words="")),
        ]

    def __str__(self) -> str:
        return f"{self.instrument.number}, {self.done_on:%d %b %Y}"
