"""Orders on the bench, procedures with steps, the readings taken, labour and parts."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce

from fleet.core.lifecycle import WaitReason
from fleet.core.orders import OrderState, Outcome
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType, Party, Place
from fleet.schedules.models import Due
from fleet.stores.models import Instrument
from fleet.tags.models import Decontamination, Tag


class OrderKind(models.TextChoices):
    """Why a driver is on the bench."""

    CORRECTIVE = "corrective", "Repair"
    PLANNED = "planned", "Planned service"
    BATTERY = "battery", "Battery"
    ACCEPTANCE = "acceptance", "Acceptance"
    LIBRARY = "library", "Library update"


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
    """One version of a procedure. An order keeps the version it was started with."""

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    in_force_from = models.DateField()
    source = models.CharField("source of its limits", max_length=200, blank=True)

    class Meta:
        ordering = ["procedure", "-number"]
        constraints = [models.UniqueConstraint(fields=["procedure", "number"], name="procedure_version_once")]

    def __str__(self) -> str:
        return f"{self.procedure}, version {self.number}"


class Step(models.Model):
    """One line of a procedure version."""

    class Kind(models.TextChoices):
        CHECK = "check", "Check"
        READING = "reading", "Reading"
        NOTE = "note", "Note"

    version = models.ForeignKey(ProcedureVersion, models.PROTECT, related_name="steps")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind)
    words = models.CharField("what to do", max_length=200)
    caution = models.CharField(max_length=200, blank=True)
    unit = models.CharField(max_length=16, blank=True)
    low = models.DecimalField("lower limit", max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("upper limit", max_digits=12, decimal_places=4, null=True, blank=True)
    limit_source = models.CharField("source of the limits", max_length=160, blank=True)
    required = models.BooleanField("must pass before return", default=True)
    instrument_kind = models.CharField("instrument needed", max_length=12, choices=Instrument.Kind, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="step_position_once"),
            models.CheckConstraint(name="step_reading_has_unit", condition=~Q(kind="reading") | ~Q(unit="")),
            models.CheckConstraint(
                name="step_limits_in_order",
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=models.F("high")),
            ),
        ]

    def __str__(self) -> str:
        return self.words


class OrderQuerySet(PlacedQuerySet["Order"]):
    """Orders, seen with their device."""

    path_lookups = ("device__home__path", "device__place__path")


class Order(models.Model):
    """A work order on the bench. What was reported, what was found and the outcome are kept apart."""

    class Found(models.TextChoices):
        NOTHING = "nothing", "Nothing wrong"
        BATTERY = "battery", "Battery or charging"
        DRIVE = "drive", "Drive or mechanics"
        PRESSURE = "pressure", "Pressure sensing"
        SYRINGE_FIT = "syringe_fit", "Syringe holder or size sensing"
        ELECTRONICS = "electronics", "Electronics or screen"
        SOFTWARE = "software", "Software or library"
        CASE = "case", "Case, clamp or accessories"
        FLUID = "fluid", "Fluid inside"
        OTHER = "other", "Something else"

    number = models.CharField(max_length=12, unique=True)
    device = models.ForeignKey(Device, models.PROTECT, related_name="orders")
    kind = models.CharField(max_length=10, choices=OrderKind)
    state = models.CharField(
        max_length=10,
        choices=[(state.value, state.label) for state in OrderState],
        default=OrderState.RAISED.value,
    )
    wait_reason = models.CharField(
        max_length=16, blank=True, choices=[(reason.value, reason.label) for reason in WaitReason]
    )
    tag = models.ForeignKey(Tag, models.PROTECT, null=True, blank=True, related_name="orders")
    due = models.ForeignKey(Due, models.PROTECT, null=True, blank=True, related_name="orders")
    procedure_version = models.ForeignKey(ProcedureVersion, models.PROTECT, null=True, blank=True, related_name="+")
    bench = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="orders_here")
    assigned_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="orders"
    )
    reported = models.TextField("what was reported", blank=True)
    raised_at = models.DateTimeField()
    received_at = models.DateTimeField(null=True, blank=True)
    decontamination = models.CharField(max_length=12, choices=Decontamination, default=Decontamination.UNKNOWN)
    service_provider = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    found = models.CharField("what was found", max_length=12, choices=Found, blank=True)
    found_words = models.TextField(blank=True)
    cause = models.CharField(max_length=200, blank=True)
    action_taken = models.TextField(blank=True)
    outcome = models.CharField(
        max_length=16, blank=True, choices=[(outcome.value, outcome.label) for outcome in Outcome]
    )
    returned_to = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    completed_at = models.DateTimeField(null=True, blank=True)
    completed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    cancelled_why = models.TextField(blank=True)
    # Raised by one with each change; a form that was opened on an older revision is refused.
    revision = models.PositiveIntegerField(default=1)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["-raised_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="order_done_has_outcome",
                condition=~Q(state="done") | (~Q(outcome="") & Q(completed_at__isnull=False)),
            ),
            models.CheckConstraint(
                name="order_waits_for_a_reason",
                condition=(Q(state="waiting") & ~Q(wait_reason="")) | (~Q(state="waiting") & Q(wait_reason="")),
            ),
            models.UniqueConstraint(
                fields=["device", "kind"],
                name="order_open_once_per_kind",
                condition=Q(state__in=["raised", "started", "waiting"]),
            ),
        ]
        indexes = [
            models.Index(
                fields=["state", "raised_at"],
                name="order_open",
                condition=Q(state__in=["raised", "started", "waiting"]),
            ),
            models.Index(fields=["completed_at"], name="order_completed"),
        ]

    def __str__(self) -> str:
        return self.number


class Reading(models.Model):
    """What was answered at one step, once. A later answer stands beside the earlier one and counts instead of it."""

    class Verdict(models.TextChoices):
        PASS = "pass", "Pass"
        FAIL = "fail", "Fail"
        NOT_APPLICABLE = "na", "Not applicable"

    order = models.ForeignKey(Order, models.PROTECT, related_name="readings")
    step = models.ForeignKey(Step, models.PROTECT, related_name="readings")
    value = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    as_typed = models.CharField(max_length=40, blank=True)
    note = models.TextField(blank=True)
    verdict = models.CharField(max_length=4, choices=Verdict)
    taken_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="readings")
    instrument_overdue = models.BooleanField("taken with an instrument overdue for calibration", default=False)
    latest = models.BooleanField(default=True)

    class Meta:
        ordering = ["step__position", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["order", "step"], name="reading_latest_once", condition=Q(latest=True)),
            models.CheckConstraint(name="reading_na_has_reason", condition=~Q(verdict="na") | ~Q(note="")),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.get_verdict_display()}"


class Labour(models.Model):
    """Minutes one person spent on an order."""

    class Activity(models.TextChoices):
        HANDS_ON = "hands_on", "Hands-on work"
        TESTING = "testing", "Testing"
        TRAVEL = "travel", "Fetching and bringing"
        WAITING = "waiting", "Waiting"

    order = models.ForeignKey(Order, models.PROTECT, related_name="labour")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    activity = models.CharField(max_length=10, choices=Activity, default=Activity.HANDS_ON)
    minutes = models.PositiveSmallIntegerField()
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["entered_at"]
        verbose_name_plural = "labour"

    def __str__(self) -> str:
        return f"{self.minutes} min"


class PartUse(models.Model):
    """A part that went into a driver."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="parts")
    name = models.CharField(max_length=80)
    part_number = models.CharField(max_length=40, blank=True)
    batch = models.CharField(max_length=40, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)
    price = models.DecimalField("price each", max_digits=9, decimal_places=2, null=True, blank=True)
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["entered_at"]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.name}"


class DeliveryTest(models.Model):
    """What a flow and an occlusion test share: neither says anything without rate and syringe. Voided, not deleted."""

    class Verdict(models.TextChoices):
        PASS = "pass", "Within the limits"
        FAIL = "fail", "Outside the limits"
        NONE = "none", "No limit is stated"

    rate = models.DecimalField("set rate, mL/h", max_digits=7, decimal_places=2)
    syringe_ml = models.DecimalField("syringe size, mL", max_digits=4, decimal_places=1)
    verdict = models.CharField(max_length=4, choices=Verdict)
    taken_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    by_name = models.CharField(max_length=120)
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_why = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True
        ordering = ["-taken_at", "-id"]


class FlowTest(DeliveryTest):
    """Delivered flow weighed on a balance: the log as it came, and what core.flow made of it."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="flow_tests")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="flow_tests")
    density = models.DecimalField("density, g/mL", max_digits=6, decimal_places=4)
    evaporation = models.DecimalField("evaporation, mg/h", max_digits=7, decimal_places=2)
    period = models.CharField("analysis period", max_length=12)
    log = models.BinaryField("time and mass, compressed")
    log_name = models.CharField(max_length=120)
    result = models.JSONField(default=dict)

    class Meta(DeliveryTest.Meta):
        constraints = [
            models.CheckConstraint(name="flow_test_rate_positive", condition=Q(rate__gt=0, syringe_ml__gt=0)),
            models.CheckConstraint(
                name="flow_test_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"Flow test at {self.rate} mL/h, {self.order}"


class OcclusionTest(DeliveryTest):
    """Time to alarm, pressure at alarm and bolus after release."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="occlusion_tests")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="occlusion_tests")
    level = models.CharField("occlusion level set", max_length=30)
    seconds_to_alarm = models.PositiveIntegerField()
    pressure_kpa = models.DecimalField("pressure at alarm, kPa", max_digits=7, decimal_places=2)
    as_typed = models.CharField("pressure as typed", max_length=30)
    bolus_ml = models.DecimalField("bolus after release, mL", max_digits=6, decimal_places=3, null=True, blank=True)

    class Meta(DeliveryTest.Meta):
        constraints = [
            models.CheckConstraint(name="occlusion_rate_positive", condition=Q(rate__gt=0, syringe_ml__gt=0)),
            models.CheckConstraint(
                name="occlusion_voided_with_reason", condition=Q(voided_at__isnull=True) | ~Q(voided_why="")
            ),
        ]

    def __str__(self) -> str:
        return f"Occlusion test at {self.rate} mL/h, {self.order}"


class DeliveryLimit(models.Model):
    """A limit of delivery for a type at a rate: reference data with its source, verified by somebody or not yet."""

    class Quantity(models.TextChoices):
        MEAN_ERROR = "mean", "Mean flow error, %"
        WINDOW_2 = "w2", "Error over 2 min, %"
        WINDOW_5 = "w5", "Error over 5 min, %"
        WINDOW_11 = "w11", "Error over 11 min, %"
        WINDOW_19 = "w19", "Error over 19 min, %"
        WINDOW_31 = "w31", "Error over 31 min, %"
        ALARM_SECONDS = "alarm", "Time to occlusion alarm, s"
        PRESSURE = "pressure", "Pressure at occlusion alarm, kPa"
        BOLUS = "bolus", "Bolus after release, mL"

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="delivery_limits")
    quantity = models.CharField(max_length=10, choices=Quantity)
    rate = models.DecimalField("at rate, mL/h (empty: any)", max_digits=7, decimal_places=2, null=True, blank=True)
    low = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    high = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    source = models.CharField(max_length=160)
    edition = models.CharField(max_length=60, blank=True)
    verified_by = models.CharField(max_length=120, blank=True)
    verified_on = models.DateField(null=True, blank=True)
    dropped_at = models.DateTimeField("no longer holds since", null=True, blank=True)

    class Meta:
        ordering = ["device_type", "quantity", "rate"]
        constraints = [
            models.UniqueConstraint(
                "device_type",
                "quantity",
                Coalesce("rate", Decimal(0)),
                name="delivery_limit_once",
                condition=Q(dropped_at__isnull=True),
            ),
            models.CheckConstraint(
                name="delivery_limit_has_a_bound", condition=Q(low__isnull=False) | Q(high__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_quantity_display()} of {self.device_type}"
