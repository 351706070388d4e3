"""Tests of flow and occlusion, and the limits they are judged by."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce

from fleet.bench.models.orders import Order
from fleet.registry.models import DeviceType
from fleet.stores.models import Instrument


class DeliveryTest(models.Model):
    """What a flow and an occlusion test share: neither says anything without rate and syringe. Voided, not deleted."""

    class Verdict(models.TextChoices):
        PASS = "pass", "Within the limits"
        FAIL = "fail", "Outside the limits"
        NONE = "none", "No limit is stated"

    rate = models.DecimalField("set rate, mL/h", max_digits=7, decimal_places=2)
    syringe_ml = models.DecimalField("syringe size, mL", max_digits=4, decimal_places=1)
    verdict = models.CharField(max_length=4, choices=Verdict)
    taken_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField(max_length=120)
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_why = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True
        ordering = ["-taken_at", "-id"]


class FlowTest(DeliveryTest):
    """Delivered flow weighed on a balance: the log as it came, and what core.flow made of it."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="flow_tests")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="flow_tests")
    density = models.DecimalField("density, g/mL", max_digits=6, decimal_places=4)
    evaporation = models.DecimalField("evaporation, mg/h", max_digits=7, decimal_places=2)
    period = models.CharField("analysis period", max_length=12)
    log = models.BinaryField("time and mass, compressed")
    log_name = models.CharField(max_length=120)
    result = models.JSONField(default=dict)

    class Meta(DeliveryTest.Meta):
        constraints = [
            models.CheckConstraint(name="flow_test_rate_positive", condition=Q(rate__gt=0, syringe_ml__gt=0)),
            models.CheckConstraint(
                name="flow_test_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"Flow test at {self.rate} mL/h, {self.order}"


class OcclusionTest(DeliveryTest):
    """Time to alarm, pressure at alarm and bolus after release."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="occlusion_tests")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="occlusion_tests")
    level = models.CharField("occlusion level set", max_length=30)
    seconds_to_alarm = models.PositiveIntegerField()
    pressure_kpa = models.DecimalField("pressure at alarm, kPa", max_digits=7, decimal_places=2)
    as_typed = models.CharField("pressure as typed", max_length=30)
    bolus_ml = models.DecimalField("bolus after release, mL", max_digits=6, decimal_places=3, null=True, blank=True)

    class Meta(DeliveryTest.Meta):
        constraints = [
            models.CheckConstraint(name="occlusion_rate_positive", condition=Q(rate__gt=0, syringe_ml__gt=0)),
            models.CheckConstraint(
                name="occlusion_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"Occlusion test at {self.rate} mL/h, {self.order}"


class DeliveryLimit(models.Model):
    """A limit of delivery for a type at a rate: reference data with its source, verified by somebody or not yet."""

    class Quantity(models.TextChoices):
        MEAN_ERROR = "mean", "Mean flow error, %"
        WINDOW_2 = "w2", "Error over 2 min, %"
        WINDOW_5 = "w5", "Error over 5 min, %"
        WINDOW_11 = "w11", "Error over 11 min, %"
        WINDOW_19 = "w19", "Error over 19 min, %"
        WINDOW_31 = "w31", "Error over 31 min, %"
        ALARM_SECONDS = "alarm", "Time to occlusion alarm, s"
        PRESSURE = "pressure", "Pressure at occlusion alarm, kPa"
        BOLUS = "bolus", "Bolus after release, mL"

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="delivery_limits")
    quantity = models.CharField(max_length=10, choices=Quantity)
    rate = models.DecimalField("at rate, mL/h (empty: any)", max_digits=7, decimal_places=2, null=True, blank=True)
    syringe_ml = models.DecimalField(
        "with syringe, mL (empty: any)", max_digits=4, decimal_places=1, null=True, blank=True
    )
    low = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    high = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    source = models.CharField(max_length=160)
    edition = models.CharField(max_length=60, blank=True)
    stated_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    verified_by = models.CharField(max_length=120, blank=True)
    verified_on = models.DateField(null=True, blank=True)
    dropped_at = models.DateTimeField("no longer holds since", null=True, blank=True)

    class Meta:
        ordering = ["device_type", "quantity", "rate", "syringe_ml"]
        constraints = [
            models.UniqueConstraint(
                "device_type",
                "quantity",
                Coalesce("rate", Decimal(0)),
                Coalesce("syringe_ml", Decimal(0)),
                name="delivery_limit_once",
                condition=Q(dropped_at__isnull=True),
            ),
            models.CheckConstraint(
                name="delivery_limit_has_a_bound", condition=Q(low__isnull=False) | Q(high__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_quantity_display()} of {self.device_type}"
