"""What goes along with a driver, as it was counted, and what is missing since."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Accessory, Device, Place


class Tally(models.Model):
    """One counting of what lay with a driver."""

    class Occasion(models.TextChoices):
        LOAN_OUT = "loan_out", "Lent"
        LOAN_BACK = "loan_back", "Back from a loan"
        BENCH_IN = "bench_in", "Received on the bench"
        BENCH_OUT = "bench_out", "Returned from the bench"
        LOOKED = "looked", "Counted where it was"

    device = models.ForeignKey(Device, models.PROTECT, related_name="tallies")
    occasion = models.CharField(max_length=10, choices=Occasion)
    place = models.ForeignKey(Place, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField(max_length=120)

    class Meta:
        ordering = ["-at", "-id"]
        verbose_name_plural = "tallies"

    def __str__(self) -> str:
        return f"{self.device}: {self.get_occasion_display().lower()}"


class TallyLine(models.Model):
    """How many of one accessory were there, and how many should have been at that time."""

    tally = models.ForeignKey(Tally, models.PROTECT, related_name="lines")
    accessory = models.ForeignKey(Accessory, models.PROTECT, related_name="+")
    belongs = models.PositiveSmallIntegerField()
    there = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["accessory__name"]
        constraints = [
            models.UniqueConstraint(fields=["tally", "accessory"], name="tally_accessory_once"),
            models.CheckConstraint(name="tally_no_more_than_belong", condition=Q(there__lte=models.F("belongs"))),
        ]

    def __str__(self) -> str:
        return f"{self.there} of {self.belongs} {self.accessory}"


class MissingQuerySet(PlacedQuerySet["Missing"]):
    """Missing accessories, seen with their driver and from the place they were missed from."""

    path_lookups = ("device__home__path", "device__place__path", "place__path")


class Missing(models.Model):
    """An accessory that a driver lacks, from the count that found it out until it is found, replaced or given up."""

    class Ended(models.TextChoices):
        FOUND = "found", "Found again"
        REPLACED = "replaced", "Replaced from stock"
        GIVEN_UP = "given_up", "Given up"

    device = models.ForeignKey(Device, models.PROTECT, related_name="missing_accessories")
    accessory = models.ForeignKey(Accessory, models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)
    place = models.ForeignKey(Place, models.PROTECT, verbose_name="missed from", related_name="missing_accessories")
    since = models.DateTimeField()
    occasion = models.CharField(max_length=10, choices=Tally.Occasion)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended = models.CharField("what came of it", max_length=10, choices=Ended, blank=True)
    ended_note = models.CharField("note", max_length=200, blank=True)

    objects = MissingQuerySet.as_manager()

    class Meta:
        ordering = ["since", "id"]
        verbose_name = "missing accessory"
        verbose_name_plural = "missing accessories"
        constraints = [
            models.UniqueConstraint(
                fields=["device", "accessory"], name="missing_open_once", condition=Q(ended_at__isnull=True)
            ),
            models.CheckConstraint(
                name="missing_ended_somehow", condition=Q(ended_at__isnull=True, ended="") | Q(ended_at__isnull=False)
            ),
            models.CheckConstraint(name="missing_at_least_one", condition=Q(quantity__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.accessory} of {self.device}"
