"""Plans (what must be done to a type, how often) and dues (one device's next date for a plan, with its window)."""

from decimal import Decimal
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property

from fleet.audit.models import TrailEntry
from fleet.core.risk import Every
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType, Place
from fleet.web.phrases import day


class Plan(models.Model):
    """A service that a device type needs every so many months, running hours or charge cycles."""

    #: What the trail calls its beginning.
    ADDED: ClassVar = "added plan"

    class Kind(models.TextChoices):
        SERVICE = "service", "Service"
        BATTERY = "battery", "Battery test"
        LIBRARY = "library", "Library update"

    class Mode(models.TextChoices):
        FLOATING = "floating", "From when it was last done"
        FIXED = "fixed", "On fixed dates"

    class Basis(models.TextChoices):
        MAKER = "maker", "The maker's instructions"
        ALTERNATIVE = "alternative", "An alternative schedule, reasoned below"

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="plans")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=Kind)
    every_months = models.PositiveSmallIntegerField(null=True, blank=True)
    every_hours = models.PositiveIntegerField("every so many running hours", null=True, blank=True)
    every_cycles = models.PositiveIntegerField("every so many charge cycles", null=True, blank=True)
    window_before_days = models.PositiveSmallIntegerField(default=30)
    window_after_days = models.PositiveSmallIntegerField(default=30)
    # 30 days are our own choice, no source: change them plan by plan.
    repeat_days = models.PositiveSmallIntegerField("ask whether it caused a fault within so many days", default=30)
    mode = models.CharField(max_length=10, choices=Mode, default=Mode.FLOATING)
    basis = models.CharField(max_length=12, choices=Basis, default=Basis.MAKER)
    document = models.CharField("document and revision", max_length=120, blank=True)
    maker_months = models.PositiveSmallIntegerField("the maker's interval, months", null=True, blank=True)
    maker_hours = models.PositiveIntegerField("the maker's interval, running hours", null=True, blank=True)
    maker_cycles = models.PositiveIntegerField("the maker's interval, charge cycles", null=True, blank=True)
    basis_reason = models.TextField(blank=True)
    basis_evidence = models.TextField("evidence", blank=True)
    basis_by = models.CharField("evaluated by", max_length=80, blank=True)
    basis_on = models.DateField("evaluated on", null=True, blank=True)
    basis_review_on = models.DateField("to be reviewed on", null=True, blank=True)
    allowed_by = models.CharField("lengthened for a high-risk type by", max_length=120, blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["device_type", "name"]
        constraints = [
            models.UniqueConstraint(fields=["device_type", "name"], name="plan_once_per_type"),
            models.CheckConstraint(
                name="plan_has_interval",
                condition=(Q(every_months__isnull=False) | Q(every_hours__isnull=False) | Q(every_cycles__isnull=False))
                & (Q(every_months__isnull=True) | Q(every_months__gt=0))
                & (Q(every_hours__isnull=True) | Q(every_hours__gt=0))
                & (Q(every_cycles__isnull=True) | Q(every_cycles__gt=0)),
            ),
            models.CheckConstraint(
                name="plan_alternative_is_reasoned",
                condition=Q(basis="maker") | (~Q(basis_reason="") & ~Q(basis_by="") & Q(basis_on__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def every(self) -> Every:
        """How often the plan asks for it."""
        return Every(self.every_months, self.every_hours, self.every_cycles)

    @property
    def maker_every(self) -> Every:
        """How often the maker asks for it; nothing stated where the plan follows the maker."""
        return Every(self.maker_months, self.maker_hours, self.maker_cycles)

    @cached_property
    def added(self) -> TrailEntry | None:
        """Its beginning in the trail."""
        return TrailEntry.objects.filter(subject_kind="plan", subject_id=self.pk, verb=self.ADDED).first()


class DueQuerySet(PlacedQuerySet["Due"]):
    """Dues, seen with their device."""

    path_lookups = ("device__home__path", "device__place__path")


class Due(models.Model):
    """One device's next date for one plan. Rolled when done; what was done stands in DueDone."""

    device = models.ForeignKey(Device, models.PROTECT, related_name="dues")
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="dues")
    anchor = models.DateField("dates are counted from")
    own_every_months = models.PositiveSmallIntegerField("own interval, months", null=True, blank=True)
    own_why = models.TextField("why an interval of its own", blank=True)
    own_by = models.CharField("own interval set by", max_length=120, blank=True)
    own_on = models.DateField("own interval set on", null=True, blank=True)
    own_review_on = models.DateField("own interval to be reviewed on", null=True, blank=True)
    due_on = models.DateField()
    opens_on = models.DateField("window opens")
    closes_on = models.DateField("window closes")
    late_since = models.DateField(null=True, blank=True)
    before_use = models.BooleanField("ran out while it was not located: due before use", default=False)
    asked_by_device = models.BooleanField("the driver itself asks for it", default=False)
    last_done_on = models.DateField(null=True, blank=True)
    last_done_hours = models.DecimalField(
        "total running hours then", max_digits=9, decimal_places=1, null=True, blank=True
    )
    last_done_cycles = models.PositiveIntegerField("charge cycles then", null=True, blank=True)
    deferred_from = models.DateField("deferred from", null=True, blank=True)
    deferred_why = models.TextField(blank=True)
    deferred_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    suspended = models.BooleanField("not counted (retired)", default=False)
    planned_for = models.DateField("week it is planned for (a Monday)", null=True, blank=True)

    objects = DueQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "id"]
        constraints = [
            models.UniqueConstraint(fields=["device", "plan"], name="due_once_per_device_and_plan"),
            models.CheckConstraint(
                name="due_window_in_order",
                condition=Q(opens_on__lte=models.F("due_on"), closes_on__gte=models.F("due_on")),
            ),
            models.CheckConstraint(
                name="due_deferral_has_reason_and_person",
                condition=Q(deferred_from__isnull=True) | (~Q(deferred_why="") & Q(deferred_by__isnull=False)),
            ),
        ]
        indexes = [
            models.Index(fields=["closes_on", "id"], name="due_live", condition=Q(suspended=False)),
            models.Index(fields=["late_since", "id"], name="due_late", condition=Q(late_since__isnull=False)),
            models.Index(fields=["due_on", "closes_on"], name="due_coming", condition=Q(suspended=False)),
        ]

    def __str__(self) -> str:
        return f"{self.plan} of {self.device}"

    @property
    def every_months(self) -> int | None:
        """The interval that holds for this device: its own, or the plan's."""
        return self.plan.every_months if self.own_every_months is None else self.own_every_months

    @property
    def every(self) -> Every:
        """How often it is due, each limit that holds for this device."""
        return Every(self.every_months, self.plan.every_hours, self.plan.every_cycles)


class DueDone(models.Model):
    """A due that was met: when it was due, with its window, and when it was done. Kept for completion figures."""

    device = models.ForeignKey(Device, models.PROTECT, related_name="dues_done")
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="dues_done")
    due_on = models.DateField()
    opens_on = models.DateField()
    closes_on = models.DateField()
    done_on = models.DateField()
    late = models.BooleanField()
    deferred_from = models.DateField("was deferred from", null=True, blank=True)
    order_number = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["-done_on", "-id"]
        verbose_name_plural = "dues done"
        indexes = [models.Index(fields=["closes_on"], name="due_done_by_window")]

    def __str__(self) -> str:
        return f"{self.plan} of {self.device}, {day(self.done_on)}"


class DueAttempt(models.Model):
    """A visit that found the work could not be done, and why. Each attempt is dated."""

    class Reason(models.TextChoices):
        NOT_FOUND = "not_found", "Could not be located"
        IN_USE = "in_use", "In use on a patient"
        PARTS = "parts", "Waiting for parts"
        REFUSED = "refused", "Access refused"

    due = models.ForeignKey(Due, models.PROTECT, related_name="attempts")
    due_on = models.DateField()
    tried_at = models.DateTimeField()
    reason = models.CharField(max_length=10, choices=Reason)
    note = models.TextField(blank=True)
    by = models.CharField(max_length=120)
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-tried_at"]

    def __str__(self) -> str:
        return f"{self.due}: {self.get_reason_display()}"


class SearchQuerySet(PlacedQuerySet["Search"]):
    """Searches, seen with their device."""

    path_lookups = ("device__home__path", "device__place__path")


class Search(models.Model):
    """A driver looked for in vain: who, when, where. Often and long enough, and it counts as not located."""

    device = models.ForeignKey(Device, models.PROTECT, related_name="searches")
    at = models.DateTimeField()
    place = models.ForeignKey(Place, models.PROTECT, related_name="+")
    note = models.TextField(blank=True)
    by = models.CharField(max_length=120)
    taken_back_at = models.DateTimeField(null=True, blank=True)

    objects = SearchQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        verbose_name_plural = "searches"
        indexes = [models.Index(fields=["device", "-at"], name="search_by_device")]

    def __str__(self) -> str:
        return f"{self.device}, looked for in {self.place}"


class DriverUse(models.Model):
    """How much a driver is used: totals that go on when a counter is restarted, and its recent rate."""

    device = models.OneToOneField(Device, models.PROTECT, related_name="use")
    hours_before = models.DecimalField(
        "hours on counters before this one", max_digits=9, decimal_places=1, default=Decimal(0)
    )
    hours_a_week = models.FloatField("running hours a week, lately", null=True, blank=True)
    cycles = models.PositiveIntegerField("charge cycles made in it", null=True, blank=True)
    cycles_on = models.DateField("charge cycles counted on", null=True, blank=True)
    cycles_a_week = models.FloatField("charge cycles a week, lately", null=True, blank=True)

    def __str__(self) -> str:
        return f"Use of {self.device}"


class CounterReading(models.Model):
    """What a driver's counter came to on a day, counters before it added. From these its recent use is told."""

    class Counter(models.TextChoices):
        HOURS = "hours", "Running hours"
        CYCLES = "cycles", "Charge cycles"

    device = models.ForeignKey(Device, models.PROTECT, related_name="counter_readings")
    counter = models.CharField(max_length=6, choices=Counter)
    read_on = models.DateField()
    total = models.DecimalField(max_digits=9, decimal_places=1)

    class Meta:
        ordering = ["read_on"]
        constraints = [
            models.UniqueConstraint(fields=["device", "counter", "read_on"], name="counter_reading_once_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.device}: {self.total} on {day(self.read_on)}"


class Levelling(models.Model):
    """A proposal to spread the work of the coming weeks over them. Proposed, and taken up by a person or not."""

    made_at = models.DateTimeField()
    by_name = models.CharField(max_length=120)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    weeks = models.PositiveSmallIntegerField(default=52)
    hours_a_week = models.DecimalField("technician hours a week", max_digits=6, decimal_places=1)
    most_away = models.DecimalField("most of a ward's drivers away at once (share)", max_digits=3, decimal_places=2)
    result = models.JSONField(default=dict)
    taken_up_at = models.DateTimeField(null=True, blank=True)
    taken_up_by = models.CharField(max_length=120, blank=True)
    dropped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at"]

    def __str__(self) -> str:
        return f"Levelling of {self.made_at:%d %b %Y}"
