"""Parts, where they lie, and the ledger of what came and went: a stock is the sum of its movements, never below 0."""

from datetime import date
from decimal import Decimal
from typing import Final

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType, Party, Place

#: Stands for "no expiry" where the database compares days.
_NEVER: Final = date(9999, 12, 31)


class Part(models.Model):
    """A part that the stores keep. Never deleted; one that is kept no more is dropped with its reason."""

    number = models.CharField("stock number", max_length=30, unique=True)
    name = models.CharField(max_length=80)
    maker = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    maker_number = models.CharField("maker's part number", max_length=40, blank=True, db_index=True)
    types = models.ManyToManyField(DeviceType, related_name="parts", blank=True, verbose_name="fits")
    price = models.DecimalField(
        "price of one",
        max_digits=9,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    reorder_quantity = models.PositiveSmallIntegerField(
        "ordered in lots of", default=1, validators=[MinValueValidator(1)]
    )
    lead_days = models.PositiveSmallIntegerField("days from order to delivery", default=14)
    keeps_batch = models.BooleanField("its batch is recorded", default=False)
    keeps_expiry = models.BooleanField("it expires", default=False)
    dropped_on = models.DateField("kept no more since", null=True, blank=True)
    dropped_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["name", "number"]
        constraints = [
            models.CheckConstraint(
                name="part_dropped_with_reason", condition=Q(dropped_on__isnull=True) | ~Q(dropped_why="")
            ),
            models.CheckConstraint(name="part_ordered_in_lots", condition=Q(reorder_quantity__gte=1)),
            models.CheckConstraint(name="part_price_not_negative", condition=Q(price__isnull=True) | Q(price__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class ShelfQuerySet(PlacedQuerySet["Shelf"]):
    """Shelves, seen from the bench or store where they stand."""

    path_lookups = ("place__path",)


class Shelf(models.Model):
    """Where a part is kept at a bench or store: its bin, and how many there should be at least."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="shelves")
    place = models.ForeignKey(Place, models.PROTECT, related_name="shelves")
    bin = models.CharField(max_length=20, blank=True)
    minimum = models.PositiveSmallIntegerField("at least", default=0)

    objects = ShelfQuerySet.as_manager()

    class Meta:
        ordering = ["place__name", "bin"]
        verbose_name_plural = "shelves"
        constraints = [models.UniqueConstraint(fields=["part", "place"], name="shelf_once_per_part_and_place")]

    def __str__(self) -> str:
        return f"{self.part} at {self.place}"


class StockQuerySet(PlacedQuerySet["Stock"]):
    """Stocks, seen from the bench or store where they lie."""

    path_lookups = ("shelf__place__path",)


class Stock(models.Model):
    """How many of a part lie on a shelf, of one batch and expiry. Written only together with a movement."""

    shelf = models.ForeignKey(Shelf, models.PROTECT, related_name="stocks")
    batch = models.CharField(max_length=40, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    saved_from = models.ForeignKey(
        Device, models.PROTECT, null=True, blank=True, related_name="parts_saved", verbose_name="reused, saved from"
    )
    quantity = models.IntegerField(default=0)

    objects = StockQuerySet.as_manager()

    class Meta:
        ordering = [F("expires_on").asc(nulls_last=True), "pk"]
        constraints = [
            models.CheckConstraint(name="stock_never_below_zero", condition=Q(quantity__gte=0)),
            models.UniqueConstraint(
                "shelf",
                "batch",
                Coalesce("expires_on", _NEVER),
                Coalesce("saved_from", 0),
                name="stock_once_per_batch",
            ),
        ]
        indexes = [models.Index(fields=["shelf"], name="stock_at_hand", condition=Q(quantity__gt=0))]

    def __str__(self) -> str:
        return f"{self.shelf}{f', {self.words}' if self.words else ''}"

    @property
    def words(self) -> str:
        """What tells this stock from others of the part on the shelf; empty where nothing does."""
        return ", ".join(
            filter(
                None,
                [
                    f"batch {self.batch}" if self.batch else "",
                    f"saved from {self.saved_from}" if self.saved_from_id else "",
                ],
            )
        )


class Movement(models.Model):
    """One line of a stock's ledger. The database refuses to change or delete it (see fleet/audit/guard.py)."""

    class Kind(models.TextChoices):
        RECEIVED = "received", "Received"
        ISSUED = "issued", "Issued to an order"
        RETURNED = "returned", "Returned from an order"
        MOVED_OUT = "moved_out", "Moved away"
        MOVED_IN = "moved_in", "Moved here"
        COUNTED = "counted", "Counted"
        SCRAPPED = "scrapped", "Scrapped"

    stock = models.ForeignKey(Stock, models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=10, choices=Kind)
    change = models.IntegerField()
    balance = models.IntegerField("left after it")
    reference = models.CharField("order or delivery note", max_length=40, blank=True)
    why = models.CharField(max_length=200, blank=True)
    done_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField(max_length=120)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(name="movement_leaves_no_less_than_none", condition=Q(balance__gte=0)),
            models.CheckConstraint(
                name="movement_goes_its_way",
                condition=Q(kind__in=["received", "returned", "moved_in"], change__gt=0)
                | Q(kind__in=["issued", "moved_out", "scrapped"], change__lt=0)
                | Q(kind="counted"),
            ),
            models.CheckConstraint(
                name="movement_corrects_with_reason",
                condition=~(Q(kind="scrapped") | Q(kind="counted") & ~Q(change=0)) | ~Q(why=""),
            ),
        ]
        indexes = [models.Index(fields=["kind", "done_at"], name="movement_by_kind")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.change:+d} of {self.stock}"


class PurchaseQuerySet(PlacedQuerySet["Purchase"]):
    """Purchases, seen from where they are delivered."""

    path_lookups = ("place__path",)


class Purchase(models.Model):
    """Parts on order with a supplier: how many, for which place, expected when, and how many of them have come."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="purchases")
    place = models.ForeignKey(Place, models.PROTECT, related_name="+", verbose_name="delivered to")
    quantity = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    arrived = models.PositiveIntegerField(default=0)
    ordered_on = models.DateField()
    expected_on = models.DateField()
    reference = models.CharField("purchase number", max_length=40, blank=True)
    by_name = models.CharField(max_length=120)
    closed_on = models.DateField(null=True, blank=True)
    closed_why = models.CharField(max_length=200, blank=True)

    objects = PurchaseQuerySet.as_manager()

    class Meta:
        ordering = ["expected_on", "pk"]
        constraints = [
            models.CheckConstraint(name="purchase_of_some", condition=Q(quantity__gte=1)),
            models.CheckConstraint(name="purchase_arrives_at_most_once", condition=Q(arrived__lte=F("quantity"))),
            models.CheckConstraint(
                name="purchase_closed_when_here_or_why",
                condition=Q(closed_on__isnull=True) | Q(arrived=F("quantity")) | ~Q(closed_why=""),
            ),
        ]
        indexes = [models.Index(fields=["part"], name="purchase_open", condition=Q(closed_on__isnull=True))]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.part}"

    @property
    def outstanding(self) -> int:
        """How many have not come yet."""
        return self.quantity - self.arrived
