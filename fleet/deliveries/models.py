"""Deliveries of new drivers: what came together, scanned one after another, and the drivers made of it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType, Party, Place


class DeliveryQuerySet(PlacedQuerySet["Delivery"]):
    """Deliveries, seen from the place that their drivers are for."""

    path_lookups = ("place__path",)


class Delivery(models.Model):
    """Drivers of one type that came together. Open until it is taken in or dropped; a record afterwards."""

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="deliveries")
    place = models.ForeignKey(Place, models.PROTECT, related_name="deliveries")
    supplier = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="deliveries")
    purchase_order = models.CharField(max_length=40, blank=True)
    delivered_on = models.DateField()
    warranty_until = models.DateField(null=True, blank=True)
    pool = models.CharField(max_length=10, choices=Device.Pool, default=Device.Pool.CLINICAL)
    first_asset = models.CharField("first asset number", max_length=30, blank=True)
    begun_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField(max_length=120)
    finished_at = models.DateTimeField("taken in at", null=True, blank=True)
    finished_by_name = models.CharField("taken in by", max_length=120, blank=True)
    dropped_at = models.DateTimeField(null=True, blank=True)
    dropped_why = models.CharField(max_length=200, blank=True)

    objects = DeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["-begun_at", "-id"]
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                name="delivery_dropped_with_reason", condition=Q(dropped_at__isnull=True) | ~Q(dropped_why="")
            ),
            models.CheckConstraint(
                name="delivery_taken_in_or_dropped", condition=Q(dropped_at__isnull=True) | Q(finished_at__isnull=True)
            ),
        ]

    def __str__(self) -> str:
        return f"Delivery {self.pk}"

    @property
    def is_open(self) -> bool:
        """Whether drivers may still be scanned into it."""
        return self.finished_at is None and self.dropped_at is None


class DeliveryLine(models.Model):
    """One driver scanned into a delivery. Undone lines stay on record; `device` is set once it is taken in."""

    delivery = models.ForeignKey(Delivery, models.PROTECT, related_name="lines")
    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="+")
    serial_number = models.CharField(max_length=40)
    scanned = models.CharField("as scanned", max_length=200)
    di = models.CharField("UDI device identifier", max_length=40, blank=True)
    lot = models.CharField(max_length=40, blank=True)
    expires_on = models.DateField("expiry date in the code", null=True, blank=True)
    warnings = models.JSONField("to compare with the label", default=list)
    scanned_at = models.DateTimeField()
    by_name = models.CharField(max_length=120)
    undone_at = models.DateTimeField(null=True, blank=True)
    device = models.OneToOneField(Device, models.PROTECT, null=True, blank=True, related_name="delivery_line")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["delivery", "device_type", "serial_number"],
                name="delivery_serial_once",
                condition=Q(undone_at__isnull=True),
            )
        ]

    def __str__(self) -> str:
        return self.serial_number
