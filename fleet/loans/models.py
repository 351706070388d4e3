"""Drivers lent from a pool: to whom, until when, with what, and how each came back."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, Place


class LoanQuerySet(PlacedQuerySet["Loan"]):
    """Loans, seen with their driver and from the place it is lent to."""

    path_lookups = ("device__home__path", "device__place__path", "to_place__path")


class Loan(models.Model):
    """One driver lent once. Open until it is back."""

    class Back(models.TextChoices):
        FINE = "fine", "Looks right, and is clean"
        NOT_CLEAN = "not_clean", "Not cleaned"
        WRONG = "wrong", "Something is wrong or damaged"
        BENCH = "bench", "Came back over the bench"

    device = models.ForeignKey(Device, models.PROTECT, related_name="loans")
    to_place = models.ForeignKey(
        Place, models.PROTECT, null=True, blank=True, verbose_name="lent to", related_name="loans_in"
    )
    borrower = models.CharField("person or other house", max_length=120, blank=True)
    reach = models.CharField("how to reach them", max_length=80, blank=True)
    lent_at = models.DateTimeField()
    due_back = models.DateField("to come back by")
    state_out = models.CharField("condition when lent", max_length=200, blank=True)
    along = models.CharField("what else went with it", max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField("lent by", max_length=120)
    returned_at = models.DateTimeField("back at", null=True, blank=True)
    returned_to = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    back = models.CharField("condition when back", max_length=10, choices=Back, blank=True)
    back_words = models.CharField("in words", max_length=200, blank=True)
    back_by_name = models.CharField("taken back by", max_length=120, blank=True)

    objects = LoanQuerySet.as_manager()

    class Meta:
        ordering = ["due_back", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["device"], name="loan_open_once_per_device", condition=Q(returned_at__isnull=True)
            ),
            models.CheckConstraint(name="loan_to_somebody", condition=Q(to_place__isnull=False) | ~Q(borrower="")),
            models.CheckConstraint(
                name="loan_back_with_condition",
                condition=Q(returned_at__isnull=True, back="") | (Q(returned_at__isnull=False) & ~Q(back="")),
            ),
        ]
        indexes = [models.Index(fields=["due_back"], name="loan_open", condition=Q(returned_at__isnull=True))]

    def __str__(self) -> str:
        return f"Loan {self.pk}"

    @property
    def whom(self) -> str:
        """To whom it is lent, in words: the place, and the person or other house."""
        return ", ".join(filter(None, (str(self.to_place or ""), self.borrower)))
