"""What an order takes: minutes, parts and what others are paid; and the kits, rates and clocks that this rests on."""

from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.bench.models.orders import Order
from fleet.bench.models.procedures import Procedure
from fleet.registry.models import Device, Party
from fleet.stores.models import Part, Stock

_NOT_NEGATIVE = [MinValueValidator(Decimal(0))]


class Labour(models.Model):
    """Minutes one person spent on an order."""

    class Activity(models.TextChoices):
        HANDS_ON = "hands_on", "Hands-on work"
        TESTING = "testing", "Testing"
        TRAVEL = "travel", "Fetching and bringing"
        WAITING = "waiting", "Waiting"

    order = models.ForeignKey(Order, models.PROTECT, related_name="labour")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    activity = models.CharField(max_length=10, choices=Activity, default=Activity.HANDS_ON)
    minutes = models.PositiveSmallIntegerField()
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["entered_at"]
        verbose_name_plural = "labour"

    def __str__(self) -> str:
        return f"{self.minutes} min"


class LabourClock(models.Model):
    """A person's time on an order while it runs; stopped, it is booked as labour. One runs for a person at a time."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="clocks")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    activity = models.CharField(max_length=10, choices=Labour.Activity, default=Labour.Activity.HANDS_ON)
    started_at = models.DateTimeField()
    stopped_at = models.DateTimeField(null=True, blank=True)
    labour = models.OneToOneField(Labour, models.PROTECT, null=True, blank=True, related_name="clock")

    class Meta:
        ordering = ["started_at"]
        constraints = [
            models.UniqueConstraint(fields=["person"], name="clock_runs_once", condition=Q(stopped_at__isnull=True)),
            models.CheckConstraint(
                name="clock_stops_after_start",
                condition=Q(stopped_at__isnull=True) | Q(stopped_at__gte=F("started_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_activity_display()} on {self.order}"


class LabourRate(models.Model):
    """What an hour of the bench costs the hospital from a day on, until the next rate begins."""

    from_on = models.DateField("from", unique=True)
    per_hour = models.DecimalField("price of an hour", max_digits=8, decimal_places=2, validators=_NOT_NEGATIVE)
    source = models.CharField("where it comes from", max_length=200, blank=True)
    set_by = models.CharField(max_length=120)
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["-from_on"]
        constraints = [models.CheckConstraint(name="labour_rate_not_negative", condition=Q(per_hour__gte=0))]

    def __str__(self) -> str:
        return f"{self.per_hour} an hour from {self.from_on}"


class PackFitted(models.Model):
    """A battery pack that went into a driver, for an order if one was open, and what it cost; None where nobody knows.

    The room of the batteries keeps the pack itself, and has this written when it fits one.
    """

    device = models.ForeignKey(Device, models.PROTECT, related_name="packs_paid")
    order = models.ForeignKey(Order, models.PROTECT, null=True, blank=True, related_name="packs")
    number = models.CharField("pack number", max_length=30)
    price = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True, validators=_NOT_NEGATIVE)
    fitted_on = models.DateField()

    class Meta:
        ordering = ["fitted_on", "id"]
        verbose_name_plural = "packs fitted"
        constraints = [
            models.CheckConstraint(
                name="pack_fitted_price_not_negative", condition=Q(price__isnull=True) | Q(price__gte=0)
            )
        ]

    def __str__(self) -> str:
        return f"Pack {self.number}"


class PartUse(models.Model):
    """A part that went into a driver: from stock, or named in words where the stores do not keep it.

    `returned` of them came back unused. `price` is what one cost when it was issued; None where nobody knows.
    """

    order = models.ForeignKey(Order, models.PROTECT, related_name="parts")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="uses")
    stock = models.ForeignKey(Stock, models.PROTECT, null=True, blank=True, related_name="uses")
    name = models.CharField(max_length=80)
    part_number = models.CharField(max_length=40, blank=True)
    batch = models.CharField(max_length=40, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)
    returned = models.PositiveSmallIntegerField(default=0)
    price = models.DecimalField("price each", max_digits=9, decimal_places=2, null=True, blank=True)
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["entered_at", "pk"]
        constraints = [
            models.CheckConstraint(name="part_use_returns_at_most_all", condition=Q(returned__lte=F("quantity"))),
            models.CheckConstraint(
                name="part_use_of_stock_names_its_part",
                condition=Q(stock__isnull=True) | Q(part__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.name}"

    @property
    def used(self) -> int:
        """How many stayed in the driver."""
        return self.quantity - self.returned


class KitLine(models.Model):
    """So many of a part that a procedure normally takes. Changed, the old line is dropped and stays on record."""

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="kit")
    part = models.ForeignKey(Part, models.PROTECT, related_name="kits")
    quantity = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])
    dropped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["part__name"]
        constraints = [
            models.UniqueConstraint(
                fields=["procedure", "part"], name="kit_line_once", condition=Q(dropped_at__isnull=True)
            ),
            models.CheckConstraint(name="kit_line_of_some", condition=Q(quantity__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.part} for {self.procedure}"


class ExternalCost(models.Model):
    """What somebody else was paid for an order: the maker's repair, carriage. Voided with its reason, never deleted."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="external_costs")
    provider = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    words = models.CharField("for what", max_length=120)
    amount = models.DecimalField(max_digits=9, decimal_places=2, validators=_NOT_NEGATIVE)
    entered_at = models.DateTimeField()
    by_name = models.CharField(max_length=120)
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["entered_at"]
        constraints = [
            models.CheckConstraint(name="external_cost_not_negative", condition=Q(amount__gte=0)),
            models.CheckConstraint(
                name="external_cost_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.words}: {self.amount}"
