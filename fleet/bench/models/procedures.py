"""Procedures, their versions, steps and limits."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.core.safety import Quantity
from fleet.registry.models import DeviceType
from fleet.stores.models import Instrument

#: An answer to a choice is kept in a column of this width.
LONGEST_OPTION = 80


class OrderKind(models.TextChoices):
    """Why a driver is on the bench."""

    CORRECTIVE = "corrective", "Repair"
    PLANNED = "planned", "Planned service"
    BATTERY = "battery", "Battery"
    ACCEPTANCE = "acceptance", "Acceptance"
    LIBRARY = "library", "Library update"
    NOTICE = "notice", "Safety notice"
    CLEANING = "cleaning", "Cleaning"
    LOAN_OUT = "loan_out", "Hand-out on loan"
    LOAN_BACK = "loan_back", "Return from loan"
    RETIREMENT = "retirement", "Retirement"


class Procedure(models.Model):
    """A named piece of bench work for one device type, or for all."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=10, choices=OrderKind)
    device_type = models.ForeignKey(DeviceType, models.PROTECT, null=True, blank=True, related_name="procedures")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ProcedureVersion(models.Model):
    """One version of a procedure. An order keeps the version it was started with.

    A draft may be changed by its writers; once approved, by a person who is none of them, it never changes. Approved,
    it is in force from its date until the next approved one is.
    """

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        WAITING = "waiting", "Waiting for approval"
        APPROVED = "approved", "Approved"
        WITHDRAWN = "withdrawn", "Withdrawn"

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.APPROVED)
    in_force_from = models.DateField(null=True, blank=True)
    source = models.CharField("where it comes from", max_length=200, blank=True)
    changes = models.CharField("what changes, and why", max_length=300, blank=True)
    begun_at = models.DateTimeField(null=True, blank=True)
    begun_by = models.CharField(max_length=120, blank=True)
    writers = models.ManyToManyField(settings.AUTH_USER_MODEL, blank=True, related_name="+")
    approved_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    approved_name = models.CharField(max_length=120, blank=True)
    approved_at = models.DateTimeField(null=True, blank=True)
    sent_back_why = models.CharField(max_length=300, blank=True)
    # The steps as they stood before each of the last changes to a draft, the newest last.
    earlier = models.JSONField(default=list, blank=True)
    # Raised by one with each change; a form that was opened on an older revision is refused.
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["procedure", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["procedure", "number"], name="procedure_version_once"),
            models.UniqueConstraint(
                fields=["procedure"], name="procedure_one_draft", condition=Q(state__in=["draft", "waiting"])
            ),
            models.CheckConstraint(
                name="procedure_approved_has_a_day", condition=~Q(state="approved") | Q(in_force_from__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure}, version {self.number}"


class Step(models.Model):
    """One line of a procedure version.

    `low` and `high` hold for every type that has no `StepLimit` of its own. `key` names the value in the formula of a
    later step; `formula` is for a computed reading, in the words of `core.formula`.
    """

    class Kind(models.TextChoices):
        CHECK = "check", "Check"
        READING = "reading", "Reading"
        CHOICE = "choice", "Choice"
        TEXT = "text", "Text"
        COMPUTED = "computed", "Computed reading"
        FILE = "file", "Attached file"

    version = models.ForeignKey(ProcedureVersion, models.PROTECT, related_name="steps")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField("name in formulas", max_length=30, blank=True)
    kind = models.CharField(max_length=8, choices=Kind)
    words = models.CharField("what to do", max_length=200)
    caution = models.CharField(max_length=200, blank=True)
    unit = models.CharField(max_length=16, blank=True)
    decimals = models.PositiveSmallIntegerField("decimals at most", null=True, blank=True)
    low = models.DecimalField("lower limit", max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("upper limit", max_digits=12, decimal_places=4, null=True, blank=True)
    limit_source = models.CharField("source of the limits", max_length=160, blank=True)
    # With one, the limits of the profile that holds where the driver is at home judge too.
    quantity = models.CharField(
        "what is measured, for reference limits",
        max_length=14,
        blank=True,
        choices=[(each.value, each.label) for each in Quantity],
    )
    passing = models.JSONField("options that pass", default=list, blank=True)
    failing = models.JSONField("options that fail", default=list, blank=True)
    formula = models.CharField(max_length=200, blank=True)
    required = models.BooleanField("must pass before return", default=True)
    instrument_kind = models.CharField("instrument needed", max_length=12, choices=Instrument.Kind, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="step_position_once"),
            models.UniqueConstraint(fields=["version", "key"], name="step_key_once", condition=~Q(key="")),
            models.CheckConstraint(
                name="step_reading_has_unit", condition=~Q(kind__in=["reading", "computed"]) | ~Q(unit="")
            ),
            models.CheckConstraint(
                name="step_formula_where_computed",
                condition=(Q(kind="computed") & ~Q(formula="")) | (~Q(kind="computed") & Q(formula="")),
            ),
            models.CheckConstraint(
                name="step_limits_in_order",
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=models.F("high")),
            ),
        ]

    def __str__(self) -> str:
        return self.words


class StepLimit(models.Model):
    """The limits of one step for one device type, instead of those that the step has for all."""

    step = models.ForeignKey(Step, models.CASCADE, related_name="limits")
    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="+")
    low = models.DecimalField("lower limit", max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("upper limit", max_digits=12, decimal_places=4, null=True, blank=True)
    source = models.CharField("source of the limits", max_length=160)

    class Meta:
        ordering = ["device_type", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["step", "device_type"], name="step_limit_once"),
            models.CheckConstraint(
                name="step_limit_has_a_bound", condition=Q(low__isnull=False) | Q(high__isnull=False)
            ),
            models.CheckConstraint(
                name="step_limit_in_order",
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=models.F("high")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step}, {self.device_type}"
