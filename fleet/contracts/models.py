"""Contracts of upkeep: who looks after which drivers, on what terms, at what cost, from when to when."""

from typing import Self

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.people.models import Person
from fleet.people.scope import PlacedQuerySet, place_paths
from fleet.registry.models import Device, DeviceType, Party, Place


class ContractQuerySet(PlacedQuerySet["Contract"]):
    """Contracts, seen by whoever sees a place they cover; one without sites and drivers of its own by everybody."""

    def within(self, person: Person) -> Self:
        """Only those that cover something of the person's, or drivers of a type wherever they are."""
        paths = place_paths(person)
        if paths is None:
            return self
        seen = Q(sites__isnull=True, devices__isnull=True)
        seen |= Q(devices__in=Device.objects.within(person).order_by().values("pk"))
        # A path is "/site/building/ward/": whoever sees a ward sees what its site is covered by.
        seen |= Q(sites__in=[int(path.split("/")[1]) for path in paths])
        return self.filter(pk__in=Contract.objects.filter(seen).order_by().values("pk"))


class Contract(models.Model):
    """One contract. Nothing is deleted: it runs out, is ended early with a reason, or is renewed by another."""

    class Kind(models.TextChoices):
        WARRANTY = "warranty", "Warranty"
        FULL = "full", "Everything: planned work, repairs and parts"
        PLANNED = "planned", "Planned work only"
        REPAIRS = "repairs", "Repairs only"
        PARTS = "parts", "Parts only"
        PARTIAL = "partial", "Part of the work, as its terms say"

    name = models.CharField("what it is called", max_length=120)
    reference = models.CharField("its number", max_length=60, blank=True)
    kind = models.CharField("what it covers", max_length=10, choices=Kind)
    party = models.ForeignKey(Party, models.PROTECT, related_name="contracts")
    terms = models.TextField(blank=True)
    cost_a_year = models.DecimalField(
        max_digits=11, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    currency = models.CharField(max_length=3, blank=True)
    begins_on = models.DateField("first day")
    ends_on = models.DateField("last day")
    notice_days = models.PositiveSmallIntegerField("days of notice", default=0)
    # Stored so that lists need no arithmetic: the last day less the days of notice.
    decide_by = models.DateField(editable=False)
    device_types = models.ManyToManyField(DeviceType, blank=True, related_name="contracts")
    sites = models.ManyToManyField(Place, blank=True, related_name="contracts", limit_choices_to={"kind": "site"})
    devices = models.ManyToManyField(Device, blank=True, related_name="contracts")
    renews = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="renewal")
    added_at = models.DateTimeField()
    added_by_name = models.CharField("added by", max_length=120)
    ended_on = models.DateField("ended early on", null=True, blank=True)
    ended_why = models.CharField(max_length=200, blank=True)
    ended_by_name = models.CharField("ended by", max_length=120, blank=True)

    objects = ContractQuerySet.as_manager()

    class Meta:
        ordering = ["ends_on", "id"]
        constraints = [
            models.CheckConstraint(name="contract_days_in_order", condition=Q(ends_on__gte=F("begins_on"))),
            models.CheckConstraint(
                name="contract_ended_early_with_reason", condition=Q(ended_on__isnull=True) | ~Q(ended_why="")
            ),
            models.CheckConstraint(
                name="contract_cost_with_currency", condition=Q(cost_a_year__isnull=True) | ~Q(currency="")
            ),
        ]

    def __str__(self) -> str:
        return self.name
