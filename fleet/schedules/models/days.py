"""Days on which no planned work is done: closed days, public holidays, and wards open for a season only."""

from typing import Self

from django.db import models
from django.db.models import Q

from fleet.core.workdays import Season
from fleet.people.models import Person
from fleet.registry.models import Place


class ClosedDaysQuerySet(models.QuerySet["ClosedDays"]):
    """Closed days, seen from the place they hold for; those of all places by everybody."""

    def within(self, person: Person) -> Self:
        """Only those of the person's places, of what these stand in, and of all places."""
        return self.filter(Q(place=None) | Q(place__in=Place.objects.within(person)))


class ClosedDays(models.Model):
    """Days on which planned work is done at no driver of a place: an inspection, a move, a holiday of the house."""

    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="closed_days")
    first = models.DateField("first closed day")
    last = models.DateField("last closed day")
    reason = models.CharField(max_length=120)
    stated_by = models.CharField(max_length=120)
    dropped_at = models.DateTimeField("no longer holds since", null=True, blank=True)

    objects = ClosedDaysQuerySet.as_manager()

    class Meta:
        ordering = ["first", "id"]
        verbose_name_plural = "closed days"
        constraints = [models.CheckConstraint(name="closed_days_in_order", condition=Q(last__gte=models.F("first")))]

    def __str__(self) -> str:
        return self.reason


class PlaceCalendar(models.Model):
    """Which public holidays a site keeps, and in which months a seasonal ward is open."""

    place = models.OneToOneField(Place, models.PROTECT, related_name="calendar")
    country = models.CharField("country of its public holidays (ISO 3166)", max_length=2, blank=True)
    subdivision = models.CharField("subdivision (ISO 3166-2)", max_length=10, blank=True)
    opens_month = models.PositiveSmallIntegerField("open from the first day of month", null=True, blank=True)
    closes_month = models.PositiveSmallIntegerField("to the last day of month", null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="place_calendar_season_whole",
                condition=Q(opens_month__isnull=True, closes_month__isnull=True)
                | Q(opens_month__range=(1, 12), closes_month__range=(1, 12)),
            )
        ]

    def __str__(self) -> str:
        return f"Calendar of {self.place}"

    @property
    def season(self) -> Season | None:
        """The months it is open; None for the whole year."""
        if self.opens_month is None or self.closes_month is None:
            return None
        return Season(self.opens_month, self.closes_month)
