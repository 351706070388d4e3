"""What the hospital decides about its batteries: risk limits, supply of packs, and assumed lives by chemistry."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.registry.models import Device, DeviceType, Party


class RiskLimit(models.Model):
    """The chance of falling under the replacement level that a kind of ward and a pool accept; the narrowest row holds.

    With both prices the limit follows from them and `limit` is the most that they may make it.
    """

    class WardKind(models.TextChoices):
        ANY = "any", "Any ward"
        CRITICAL = "critical", "Critical care"
        OTHER = "other", "Not critical care"

    pool = models.CharField("pool (empty: any)", max_length=10, choices=Device.Pool, blank=True)
    ward_kind = models.CharField(max_length=8, choices=WardKind, default=WardKind.ANY)
    limit = models.DecimalField(
        "risk limit (chance)",
        max_digits=4,
        decimal_places=3,
        validators=[MinValueValidator(Decimal("0.005")), MaxValueValidator(Decimal("0.5"))],
    )
    failure_price = models.DecimalField(
        "price of a driver that fails in use", max_digits=10, decimal_places=2, null=True, blank=True
    )
    test_price = models.DecimalField("price of a runtime test", max_digits=8, decimal_places=2, null=True, blank=True)
    may_skip_tests = models.BooleanField("a test may be skipped when the forecast is sure", default=False)
    longest_untested_months = models.PositiveSmallIntegerField("months a pack may go without a full test", default=24)
    why = models.CharField("why this limit", max_length=200)
    set_by = models.CharField(max_length=120)
    set_at = models.DateTimeField()
    dropped_at = models.DateTimeField("no longer holds since", null=True, blank=True)

    class Meta:
        ordering = ["pool", "ward_kind"]
        constraints = [
            models.UniqueConstraint(
                fields=["pool", "ward_kind"], name="risk_limit_once", condition=Q(dropped_at__isnull=True)
            ),
            models.CheckConstraint(name="risk_limit_is_chance", condition=Q(limit__gt=0, limit__lte=Decimal("0.5"))),
        ]

    def __str__(self) -> str:
        return f"{self.get_pool_display() or 'Any pool'}, {self.get_ward_kind_display().lower()}: {self.limit}"


class PackSupply(models.Model):
    """How packs of a type are bought: how long delivery takes, in which lots, and how sure the shelf must be."""

    device_type = models.OneToOneField(DeviceType, models.PROTECT, related_name="pack_supply")
    lead_days = models.PositiveSmallIntegerField("days from order to delivery", default=28)
    service_level = models.FloatField(
        "chance that the shelf lasts", default=0.95, validators=[MinValueValidator(0.5), MaxValueValidator(0.99)]
    )
    multiple = models.PositiveSmallIntegerField("packs are sold in", default=1, validators=[MinValueValidator(1)])
    price = models.DecimalField("price of a pack", max_digits=9, decimal_places=2, null=True, blank=True)
    set_by = models.CharField(max_length=120)
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["device_type"]
        verbose_name_plural = "pack supplies"

    def __str__(self) -> str:
        return f"Supply of packs for {self.device_type}"


class PackPurchase(models.Model):
    """Packs of a type on order: how many, with whom, expected when, and how many of them have come."""

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="pack_purchases")
    quantity = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    arrived = models.PositiveIntegerField(default=0)
    ordered_on = models.DateField()
    expected_on = models.DateField()
    supplier = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    reference = models.CharField("purchase number", max_length=40, blank=True)
    by_name = models.CharField(max_length=120)
    closed_on = models.DateField(null=True, blank=True)
    closed_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["expected_on", "pk"]
        constraints = [
            models.CheckConstraint(name="pack_purchase_of_some", condition=Q(quantity__gte=1)),
            models.CheckConstraint(name="pack_purchase_arrives_at_most_once", condition=Q(arrived__lte=F("quantity"))),
            models.CheckConstraint(
                name="pack_purchase_closed_when_here_or_why",
                condition=Q(closed_on__isnull=True) | Q(arrived=F("quantity")) | ~Q(closed_why=""),
            ),
        ]
        indexes = [models.Index(fields=["device_type"], name="pack_purchase_open", condition=Q(closed_on__isnull=True))]

    def __str__(self) -> str:
        return f"{self.quantity} packs for {self.device_type}"

    @property
    def outstanding(self) -> int:
        """How many have not come yet."""
        return self.quantity - self.arrived


class ChemistryLife(models.Model):
    """How long packs of a chemistry are taken to last before any of a type was measured: reference data."""

    chemistry = models.CharField(max_length=20, unique=True)
    life_years = models.DecimalField(
        "years until a pack loses a fifth of its runtime",
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal(20))],
    )
    source = models.CharField(max_length=200, default="assumed")
    edition = models.CharField(max_length=60, blank=True)
    verified_by = models.CharField("who verified it", max_length=120, blank=True)
    verified_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["chemistry"]
        verbose_name_plural = "chemistry lives"

    def __str__(self) -> str:
        return f"{self.chemistry}: {self.life_years} years"
