"""Who was trained on which type of driver, and what a place asks of whoever works on one."""

from django.db import models
from django.db.models import F, Q

from fleet.people.models import Person
from fleet.registry.models import DeviceType, Place


class Training(models.Model):
    """A person was trained on a type of driver. Never changed: a later one stands beside it, a wrong one is withdrawn.

    It says that training took place, by whom or with what evidence, and until when it counts; not what anybody can do.
    """

    class Work(models.TextChoices):
        ALL = "all", "All work on it"
        SERVICE = "service", "Services and checks only"
        REPAIR = "repair", "Repairs only"

    person = models.ForeignKey(Person, models.PROTECT, related_name="trainings")
    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="trainings")
    work = models.CharField("for", max_length=8, choices=Work, default=Work.ALL)
    trained_on = models.DateField()
    by_whom = models.CharField("trained by", max_length=120, blank=True)
    evidence = models.CharField(max_length=200, blank=True)
    ends_on = models.DateField("counts until", null=True, blank=True)
    entered_at = models.DateTimeField()
    entered_name = models.CharField(max_length=120)
    withdrawn_at = models.DateTimeField("counts no longer since", null=True, blank=True)
    withdrawn_name = models.CharField(max_length=120, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-trained_on", "-id"]
        constraints = [
            models.CheckConstraint(
                name="training_ends_after_it", condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("trained_on"))
            ),
            models.CheckConstraint(name="training_names_its_proof", condition=~Q(by_whom="", evidence="")),
            models.CheckConstraint(
                name="training_withdrawn_with_reason", condition=Q(withdrawn_at__isnull=True) | ~Q(withdrawn_why="")
            ),
            models.UniqueConstraint(
                fields=["person", "device_type", "work", "trained_on"],
                name="training_once_a_day",
                condition=Q(withdrawn_at__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} on {self.device_type}"


class TrainingPolicy(models.Model):
    """What holds at a place and in all below it for work by somebody without training in date; empty is inherited."""

    class Rule(models.TextChoices):
        MARK = "mark", "Mark it: the work goes on, and the order says so"
        REFUSE = "refuse", "Refuse it: somebody with training in date does the work"

    place = models.OneToOneField(Place, models.PROTECT, related_name="training_policy")
    rule = models.CharField("work without training in date", max_length=8, blank=True, choices=Rule)

    class Meta:
        verbose_name_plural = "training policies"

    def __str__(self) -> str:
        return f"Training at {self.place}"
