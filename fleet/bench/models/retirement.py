"""A driver's end: why and on whose word, what became of it, how its data were wiped, which parts were kept."""

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device


class RetirementMethod(models.Model):
    """A way to dispose of a driver, or to wipe it: reference data with its source, looked at by somebody or not yet."""

    class Kind(models.TextChoices):
        DISPOSAL = "disposal", "What becomes of it"
        WIPING = "wiping", "How data are wiped"

    kind = models.CharField(max_length=10, choices=Kind)
    words = models.CharField("in a word", max_length=60)
    explains = models.CharField("what it means", max_length=200, blank=True)
    source = models.CharField(max_length=160, blank=True)
    verified_by_name = models.CharField("verified by", max_length=120, blank=True)
    verified_on = models.DateField(null=True, blank=True)
    dropped_at = models.DateTimeField("no longer used since", null=True, blank=True)

    class Meta:
        ordering = ["kind", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "words"], name="retirement_method_once", condition=Q(dropped_at__isnull=True)
            )
        ]

    def __str__(self) -> str:
        return self.words


class RetirementQuerySet(PlacedQuerySet["Retirement"]):
    """Retirements, seen with their driver."""

    path_lookups = ("device__home__path", "device__place__path")


class Retirement(models.Model):
    """The record of one retirement. Its decision is written once, its disposal once; taken back, it stays on record."""

    class Reason(models.TextChoices):
        WORN = "worn", "Worn out or past its life"
        NOT_WORTH = "not_worth", "Not worth the repair"
        UNSUPPORTED = "unsupported", "Its maker supports it no longer"
        REPLACED = "replaced", "Replaced by another"
        NOTICE = "notice", "A safety notice asks for it"
        LOST = "lost", "Lost or stolen"
        OTHER = "other", "As said in words"

    class Data(models.TextChoices):
        """What a driver may hold that is wiped before it leaves the house."""

        LOGS = "logs", "Event logs"
        NETWORK = "network", "Wi-Fi and other network credentials"
        LIBRARY = "library", "Drug library"
        PATIENTS = "patients", "Patient history"
        SETTINGS = "settings", "The house's own settings"

    device = models.ForeignKey(Device, models.PROTECT, related_name="retirements")
    reason = models.CharField(max_length=12, choices=Reason)
    words = models.TextField("reason in words")
    retired_at = models.DateTimeField()
    authorised_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    authorised_name = models.CharField("authorised by", max_length=120)
    answered = models.JSONField("orders and tags it answered", default=list)

    disposal = models.ForeignKey(
        RetirementMethod, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="what became of it"
    )
    disposal_words = models.CharField("where it went", max_length=200, blank=True)
    wiping = models.ForeignKey(
        RetirementMethod, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="wiped by"
    )
    wiped = models.JSONField("what was wiped", default=list, blank=True)
    no_data_why = models.CharField("why there was nothing to wipe", max_length=200, blank=True)
    wiped_by_name = models.CharField("who wiped it", max_length=120, blank=True)
    wiped_on = models.DateField(null=True, blank=True)
    wiping_verified = models.CharField("how the wiping was verified", max_length=200, blank=True)
    stated_at = models.DateTimeField("disposal stated at", null=True, blank=True)
    stated_by_name = models.CharField("disposal stated by", max_length=120, blank=True)

    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by_name = models.CharField(max_length=120, blank=True)
    taken_back_why = models.CharField(max_length=200, blank=True)

    objects = RetirementQuerySet.as_manager()

    class Meta:
        ordering = ["-retired_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["device"], name="retirement_once_per_device", condition=Q(taken_back_at__isnull=True)
            ),
            models.CheckConstraint(
                name="retirement_stated_with_wiping",
                condition=Q(stated_at__isnull=True)
                | Q(disposal__isnull=False, wiping__isnull=False, wiped_on__isnull=False)
                | (Q(disposal__isnull=False, wiping__isnull=True) & ~Q(no_data_why="")),
            ),
            models.CheckConstraint(
                name="retirement_taken_back_with_reason",
                condition=Q(taken_back_at__isnull=True) | ~Q(taken_back_why=""),
            ),
        ]

    def __str__(self) -> str:
        return f"Retirement of {self.device}"

    @property
    def wiped_words(self) -> str:
        """What was wiped, in words; empty in records from before this was asked."""
        return "; ".join(self.Data(each).label for each in self.wiped)


class RetentionRule(models.Model):
    """For how many years at least the records of a retired driver are kept, and who decided that. One row.

    It says what the house does with its backups and its archive: the program deletes nothing, before or after.
    """

    #: The one row's key. The trail keeps what stood before.
    ONLY: ClassVar = 1

    years = models.PositiveSmallIntegerField("years from retirement")
    decided_by = models.CharField("decided by", max_length=120)
    decided_on = models.DateField("decided on")
    source = models.CharField("policy or law it follows", max_length=200)
    stated_at = models.DateTimeField()
    stated_by_name = models.CharField(max_length=120)

    class Meta:
        constraints = [models.CheckConstraint(name="retention_years_positive", condition=Q(years__gt=0))]

    def __str__(self) -> str:
        return f"{self.years} years"


class KeptPart(models.Model):
    """A part taken out of a retired driver and kept."""

    retirement = models.ForeignKey(Retirement, models.PROTECT, related_name="parts")
    name = models.CharField(max_length=80)
    part_number = models.CharField(max_length=40, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)
    note = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.name}"
