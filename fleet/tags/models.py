"""Tags from the ward with their reports, and quarantines with their custody record."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.alerts.models import Alert
from fleet.core.identifiers import hyphenated
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, Place


class YesNo(models.TextChoices):
    """An answer a ward can give in the middle of the night."""

    YES = "yes", "Yes"
    NO = "no", "No"
    NOT_SURE = "not_sure", "Not sure"


class Decontamination(models.TextChoices):
    """What is known of a driver's cleaning when it reaches the bench. Unknown stays visible."""

    UNKNOWN = "unknown", "Not stated"
    CLEANED = "cleaned", "Cleaned, stated by the ward"
    NOT_CLEANED = "not_cleaned", "Not cleaned"


class TagQuerySet(PlacedQuerySet["Tag"]):
    """Tags, seen from the driver's home, from where it is now and from where it was tagged."""

    path_lookups = ("device__home__path", "device__place__path", "place__path")


class Tag(models.Model):
    """An out-of-use tag. While one is open its driver is not in service."""

    number = models.CharField(max_length=12, unique=True)
    device = models.ForeignKey(Device, models.PROTECT, related_name="tags")
    place = models.ForeignKey(Place, models.PROTECT, related_name="tags_raised")
    opened_at = models.DateTimeField()
    harm = models.CharField("somebody harmed, or might have been", max_length=8, choices=YesNo)
    expected_back = models.DateField("expected back on, as the bench told the ward", null=True, blank=True)
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_by_order = models.CharField(max_length=20, blank=True)
    alerts = models.ManyToManyField(Alert, blank=True, related_name="tags")

    objects = TagQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["device"], name="tag_open_once_per_device", condition=Q(cleared_at__isnull=True)
            )
        ]
        indexes = [models.Index(fields=["opened_at"], name="tag_open", condition=Q(cleared_at__isnull=True))]

    def __str__(self) -> str:
        return self.number

    @property
    def written(self) -> str:
        """The number as it is shown and written on the paper tag: 4821-R."""
        return hyphenated(self.number)


class TagReport(models.Model):
    """One person's report. The first raises the tag; later ones join it."""

    class What(models.TextChoices):
        ASKED = "asked", "It asked for maintenance"
        STOPPED = "stopped", "It stopped by itself"
        POWER = "power", "Battery or charging trouble"
        OCCLUSION = "occlusion", "Blockage alarm without a reason found"
        RATE = "rate", "It gave too much or too little"
        SYRINGE = "syringe", "It does not hold or know the syringe"
        SCREEN = "screen", "Screen, keys or sound"
        DROPPED = "dropped", "Dropped, broken or wet"
        MISSING_PART = "missing_part", "A part is missing"
        OTHER = "other", "Something else"
        # Written by a visit round; no ward chooses it.
        IN_USE = "in_use", "In use on a patient, although out of use"

    tag = models.ForeignKey(Tag, models.PROTECT, related_name="reports")
    # The form carries one key; sent twice by a shaky network, it counts once.
    key = models.UUIDField(unique=True)
    what = models.CharField("what happened", max_length=14, choices=What)
    words = models.TextField("in your words", blank=True)
    screen_text = models.CharField("what the screen said", max_length=200, blank=True)
    connected = models.CharField("connected to a patient", max_length=8, choices=YesNo)
    harm = models.CharField("somebody harmed, or might have been", max_length=8, choices=YesNo)
    goes_along = models.CharField("what goes along with it", max_length=200, blank=True)
    decontamination = models.CharField(max_length=12, choices=Decontamination, default=Decontamination.UNKNOWN)
    incident_reference = models.CharField("local incident number", max_length=40, blank=True)
    where = models.CharField("where the driver is", max_length=120)
    reporter = models.CharField("who reports", max_length=80)
    reach = models.CharField("how to reach them", max_length=80)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    happened_at = models.DateTimeField()
    reported_at = models.DateTimeField()

    class Meta:
        ordering = ["reported_at"]

    def __str__(self) -> str:
        return f"{self.get_what_display()} ({self.reporter})"


class WardWord(models.Model):
    """A ward's own word on a driver in service: in use now, or idle. It is told with its age; the latest counts."""

    device = models.ForeignKey(Device, models.PROTECT, related_name="ward_words")
    in_use = models.BooleanField()
    at = models.DateTimeField()
    place = models.ForeignKey(Place, models.PROTECT, verbose_name="where the driver was on record", related_name="+")
    by_name = models.CharField(max_length=120)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["device", "-at"], name="ward_word_by_device")]

    def __str__(self) -> str:
        return f"{self.device}: {'in use' if self.in_use else 'idle'}"


class QuarantineQuerySet(PlacedQuerySet["Quarantine"]):
    """Quarantines, seen with their device."""

    path_lookups = ("device__home__path", "device__place__path")


class Quarantine(models.Model):
    """A driver kept as it is because somebody was harmed or might have been. Blocks work, cleaning and release."""

    device = models.ForeignKey(Device, models.PROTECT, related_name="quarantines")
    tag = models.ForeignKey(Tag, models.PROTECT, null=True, blank=True, related_name="quarantines")
    reason = models.TextField()
    opened_at = models.DateTimeField()
    aware_on = models.DateField("the hospital became aware on")
    incident_reference = models.CharField("local incident number", max_length=40, blank=True)
    kept_where = models.CharField("kept where", max_length=120, blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    lifted_why = models.TextField(blank=True)

    objects = QuarantineQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["device"], name="quarantine_open_once_per_device", condition=Q(lifted_at__isnull=True)
            ),
            models.CheckConstraint(
                name="quarantine_lifted_with_reason", condition=Q(lifted_at__isnull=True) | ~Q(lifted_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"Quarantine of {self.device}"

    @property
    def holder(self) -> str:
        """Who has the driver, by the last custody entry; empty when there is none."""
        entries = list(self.custody.all())
        return entries[-1].received_by if entries else ""


class CustodyEntry(models.Model):
    """One handing over, opening or note while a driver is in quarantine: who gave, who received, what for."""

    quarantine = models.ForeignKey(Quarantine, models.PROTECT, related_name="custody")
    happened_at = models.DateTimeField()
    given_by = models.CharField(max_length=80, blank=True)
    received_by = models.CharField(max_length=80)
    purpose = models.CharField(max_length=200)
    kept_along = models.CharField("kept along with it", max_length=200, blank=True)

    class Meta:
        ordering = ["happened_at"]
        verbose_name_plural = "custody entries"

    def __str__(self) -> str:
        return f"{self.received_by}: {self.purpose}"
