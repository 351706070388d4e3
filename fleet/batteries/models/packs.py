"""Packs with a life of their own, the runtime tests made on them, and cycle counts."""

from datetime import timedelta
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from fleet.bench.models import Order
from fleet.people.models import Person
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType, Party
from fleet.web.phrases import day


class PackQuerySet(models.QuerySet["Pack"]):
    """Packs; seen by whoever sees a driver it was ever in. One that was never fitted lies in a store for all."""

    def within(self, person: Person) -> Self:
        """Only the packs the person may know of."""
        stays = Fitting.objects.filter(pack=OuterRef("pk"))
        return self if person.everywhere else self.filter(Exists(stays.within(person)) | ~Exists(stays))


class Pack(models.Model):
    """A battery pack. Where it was fitted and when stands in Fitting; nothing is overwritten."""

    class State(models.TextChoices):
        STOCK = "stock", "In stock"
        FITTED = "fitted", "Fitted"
        REMOVED = "removed", "Removed"
        SCRAPPED = "scrapped", "Scrapped"

    number = models.CharField("pack number", max_length=30, unique=True)
    maker = models.ForeignKey(Party, models.PROTECT, related_name="packs")
    part_number = models.CharField(max_length=40)
    chemistry = models.CharField(max_length=20)
    date_code = models.CharField(max_length=20, blank=True)
    made_on = models.DateField(null=True, blank=True)
    for_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="packs")
    state = models.CharField(max_length=8, choices=State, default=State.STOCK)
    scrapped_on = models.DateField(null=True, blank=True)
    scrapped_why = models.CharField(max_length=200, blank=True)
    price = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)

    objects = PackQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                name="pack_scrapped_has_reason",
                condition=~Q(state="scrapped") | (Q(scrapped_on__isnull=False) & ~Q(scrapped_why="")),
            )
        ]

    def __str__(self) -> str:
        return self.number


class FittingQuerySet(PlacedQuerySet["Fitting"]):
    """Fittings, seen with their device."""

    path_lookups = ("device__home__path", "device__place__path")


class Fitting(models.Model):
    """One stay of a pack in a device, from the day it was fitted until it was removed and why."""

    class Why(models.TextChoices):
        WORN = "worn", "Runtime under the replacement level"
        AGE = "age", "Replaced for its age"
        FORECAST = "forecast", "Would not have lasted until the next visit"
        FAULT = "fault", "Fault, hot, swollen or leaking"
        MOVED = "moved", "Moved to another driver"
        RETIRED = "retired", "Driver retired"

    pack = models.ForeignKey(Pack, models.PROTECT, related_name="fittings")
    device = models.ForeignKey(Device, models.PROTECT, related_name="fittings")
    fitted_on = models.DateField()
    fitted_on_known = models.BooleanField("the day of fitting is known", default=True)
    removed_on = models.DateField(null=True, blank=True)
    removed_why = models.CharField(max_length=10, choices=Why, blank=True)
    removed_note = models.CharField(max_length=200, blank=True)
    order = models.ForeignKey(Order, models.PROTECT, null=True, blank=True, related_name="fittings")

    objects = FittingQuerySet.as_manager()

    class Meta:
        ordering = ["-fitted_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["device"], name="fitting_one_pack_per_device", condition=Q(removed_on__isnull=True)
            ),
            models.UniqueConstraint(
                fields=["pack"], name="fitting_one_device_per_pack", condition=Q(removed_on__isnull=True)
            ),
            models.CheckConstraint(
                name="fitting_removed_with_reason",
                condition=Q(removed_on__isnull=True) | (~Q(removed_why="") & Q(removed_on__gte=F("fitted_on"))),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pack} in {self.device}"


class RuntimeTestQuerySet(PlacedQuerySet["RuntimeTest"]):
    """Runtime tests, seen with the device they were made on."""

    path_lookups = ("device__home__path", "device__place__path")


class RuntimeTest(models.Model):
    """Full charge, then run at a stated rate until the driver stops. A wrong test is voided, never deleted."""

    class Stop(models.TextChoices):
        RAN_FLAT = "flat", "Ran until the driver stopped"
        BY_HAND = "by_hand", "Stopped early by hand"

    pack = models.ForeignKey(Pack, models.PROTECT, related_name="tests")
    device = models.ForeignKey(Device, models.PROTECT, related_name="runtime_tests")
    order = models.ForeignKey(Order, models.PROTECT, null=True, blank=True, related_name="runtime_tests")
    charge_hours = models.DecimalField("hours on charge before", max_digits=5, decimal_places=2)
    rate = models.DecimalField("rate, mL/h", max_digits=7, decimal_places=2)
    syringe_ml = models.DecimalField("syringe size, mL", max_digits=4, decimal_places=1)
    started_at = models.DateTimeField()
    stopped_at = models.DateTimeField()
    low_alarm_at = models.DateTimeField("low-battery alarm at", null=True, blank=True)
    stop = models.CharField("why it stopped", max_length=8, choices=Stop)
    ambient_c = models.DecimalField("ambient temperature, °C", max_digits=4, decimal_places=1, null=True, blank=True)
    rack_position = models.CharField(max_length=20, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    by_name = models.CharField(max_length=120)
    entered_at = models.DateTimeField()
    # Worked out by core.battery.runtime when the test is logged, from the type's table as it then stood.
    rated_hours = models.DecimalField(max_digits=8, decimal_places=4)
    fraction = models.FloatField("runtime fraction")
    outside_table = models.BooleanField("rate outside the type's table", default=False)
    short_charge = models.BooleanField("charged shorter than the type needs", default=False)
    confirmed = models.BooleanField("an unlikely runtime that was confirmed when logged", default=False)
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.CharField(max_length=120, blank=True)
    voided_why = models.TextField(blank=True)

    objects = RuntimeTestQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-id"]
        constraints = [
            models.CheckConstraint(name="test_stops_after_start", condition=Q(stopped_at__gt=F("started_at"))),
            models.CheckConstraint(
                name="test_alarm_within_run",
                condition=Q(low_alarm_at__isnull=True)
                | Q(low_alarm_at__gte=F("started_at"), low_alarm_at__lte=F("stopped_at")),
            ),
            models.CheckConstraint(name="test_rate_positive", condition=Q(rate__gt=0, charge_hours__gte=0)),
            models.CheckConstraint(
                name="test_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
            models.UniqueConstraint(
                fields=["pack", "started_at"], name="test_once_per_start", condition=Q(voided_at__isnull=True)
            ),
        ]

    def __str__(self) -> str:
        return f"Runtime test of {self.pack}, {timezone.localtime(self.started_at):%d %b %Y}"

    @property
    def ran(self) -> timedelta:
        """How long the driver ran."""
        return self.stopped_at - self.started_at


class CycleCount(models.Model):
    """Charge cycles a pack had made, as read on a date."""

    pack = models.ForeignKey(Pack, models.PROTECT, related_name="cycle_counts")
    counted_on = models.DateField()
    cycles = models.PositiveIntegerField()

    class Meta:
        ordering = ["-counted_on"]
        constraints = [models.UniqueConstraint(fields=["pack", "counted_on"], name="cycle_count_once_a_day")]

    def __str__(self) -> str:
        return f"{self.cycles} cycles on {day(self.counted_on)}"
