"""Visit rounds: one walk through a place that does everything due there, kept driver by driver."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, Place


class RoundQuerySet(PlacedQuerySet["Round"]):
    """Rounds, seen with their place."""

    path_lookups = ("place__path",)


class Round(models.Model):
    """One walk through a place on a day. What is due there is read from the rooms below, so nothing is copied here."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="rounds")
    on = models.DateField("day of the round")
    begun_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField(max_length=120)
    ended_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(blank=True)

    objects = RoundQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["place", "on"], name="round_open_once", condition=Q(ended_at__isnull=True)),
            models.CheckConstraint(
                name="round_ends_after_it_begins",
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("begun_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"Round of {self.place}, {self.on:%d %b %Y}"


class RoundStop(models.Model):
    """A driver met, or looked for, on a round: what came of it, the latest answer counting."""

    class What(models.TextChoices):
        SEEN = "seen", "Seen, nothing due"
        TAKEN = "taken", "Taken to the bench"
        DONE = "done", "Done on the spot"
        IN_USE = "in_use", "In use on a patient"
        REFUSED = "refused", "The ward would not part with it"
        NOT_FOUND = "not_found", "Looked for and not found"

    round = models.ForeignKey(Round, models.PROTECT, related_name="stops")
    device = models.ForeignKey(Device, models.PROTECT, related_name="round_stops")
    what = models.CharField(max_length=10, choices=What)
    moved_here = models.BooleanField("was on record elsewhere", default=False)
    # Where it was on record before this answer put its place right; given back when the answer is taken back.
    moved_from = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    latest = models.BooleanField(default=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    # Given by the screen that sent it: the same answer sent twice is one answer.
    sent_key = models.CharField(max_length=40, null=True, blank=True, unique=True)
    entered_at = models.DateTimeField("entered at, where that was later", null=True, blank=True)
    typed_in = models.BooleanField("typed in later, from paper", default=False)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["round", "device"], name="round_stop_latest_once", condition=Q(latest=True))
        ]

    def __str__(self) -> str:
        return f"{self.device}: {self.get_what_display()}"
