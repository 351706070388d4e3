"""What a driver itself raised: when, how often, seen by whom; open until an order answers it or a person clears it."""

from django.db import models
from django.db.models import Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device


class AlertKind(models.Model):
    """A kind of alert, in our words. What the driver's screen said is kept beside it as seen."""

    code = models.SlugField(max_length=30, unique=True)
    words = models.CharField(max_length=80)
    asks_for_service = models.BooleanField("makes the next service due now", default=False)
    about_battery = models.BooleanField(default=False)
    rank = models.PositiveSmallIntegerField("place in the list", default=50)

    class Meta:
        ordering = ["rank", "words"]

    def __str__(self) -> str:
        return self.words


class AlertQuerySet(PlacedQuerySet["Alert"]):
    """Alerts, seen with their device."""

    path_lookups = ("device__home__path", "device__place__path")


class Alert(models.Model):
    """One kind of alert on one device, from its first sight until it is answered or cleared."""

    class Source(models.TextChoices):
        WARD = "ward", "Ward report"
        BENCH = "bench", "Seen on the bench"
        FILE = "file", "Imported file"

    device = models.ForeignKey(Device, models.PROTECT, related_name="alerts")
    kind = models.ForeignKey(AlertKind, models.PROTECT, related_name="alerts")
    screen_text = models.CharField("what the screen said", max_length=200, blank=True)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    times = models.PositiveIntegerField(default=1)
    source = models.CharField(max_length=6, choices=Source)
    seen_by = models.CharField(max_length=120)
    aged_days = models.PositiveSmallIntegerField("days open at the last nightly run", default=0)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.CharField(max_length=120, blank=True)
    closed_why = models.TextField(blank=True)
    answered_by_order = models.CharField("answered by order", max_length=20, blank=True)

    objects = AlertQuerySet.as_manager()

    class Meta:
        ordering = ["-last_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["device", "kind"], name="alert_open_once", condition=Q(closed_at__isnull=True)
            ),
            models.CheckConstraint(
                name="alert_closed_with_reason",
                condition=Q(closed_at__isnull=True) | ~Q(closed_why="") | ~Q(answered_by_order=""),
            ),
            models.CheckConstraint(name="alert_times_in_order", condition=Q(first_at__lte=models.F("last_at"))),
        ]

    def __str__(self) -> str:
        return f"{self.kind} on {self.device}"
