"""Places, device types and devices: what the hospital has, where it belongs and where it was last seen."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.core.lifecycle import Condition, WaitReason
from fleet.core.safety import AppliedPart, Protection
from fleet.people.scope import M_co, PlacedQuerySet

POSITIVE = MinValueValidator(Decimal("0.001"))
LEVEL = [MinValueValidator(Decimal("0.05")), MaxValueValidator(Decimal(1))]


class Counter(models.Model):
    """The last number given out in a series. Locked while the next one is taken, so none is given twice."""

    name = models.CharField(max_length=20, unique=True)
    last = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name} {self.last}"


class Party(models.Model):
    """A maker, a supplier or a service provider."""

    name = models.CharField(max_length=80, unique=True)
    code = models.SlugField(max_length=20, unique=True)
    makes = models.BooleanField("makes devices or packs", default=False)
    supplies = models.BooleanField("supplies", default=False)
    services = models.BooleanField("services devices", default=False)
    contact = models.CharField("contact person", max_length=80, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "parties"

    def __str__(self) -> str:
        return self.name


class Place(models.Model):
    """A site, a building in it, or a ward, bench or store in that. `path` holds the ids from the site down."""

    class Kind(models.TextChoices):
        SITE = "site", "Site"
        BUILDING = "building", "Building"
        WARD = "ward", "Ward"
        BENCH = "bench", "Bench"
        STORE = "store", "Store"

    kind = models.CharField(max_length=10, choices=Kind)
    name = models.CharField(max_length=80)
    code = models.SlugField("short code", max_length=20, unique=True)
    parent = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="children")
    site = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    path = models.CharField(max_length=60, db_index=True, editable=False)
    critical = models.BooleanField("critical care", default=False)
    phone = models.CharField(max_length=40, blank=True)
    closed_on = models.DateField(null=True, blank=True)

    objects = PlacedQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="place_site_has_no_parent",
                condition=Q(kind="site", parent__isnull=True) | (~Q(kind="site") & Q(parent__isnull=False)),
            ),
            models.UniqueConstraint(fields=["parent", "name"], name="place_name_once_per_parent"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def top(self) -> int:
        """The key of the site that it stands in, its own where it is one."""
        return int(self.path.split("/")[1])


class DeviceType(models.Model):
    """A maker's model in one configuration: what rated values, plans and procedures hang on."""

    class Power(models.TextChoices):
        FITTED_PACK = "pack", "Fitted rechargeable pack"
        CELLS = "cells", "Exchangeable cells"

    maker = models.ForeignKey(Party, models.PROTECT, related_name="device_types", limit_choices_to={"makes": True})
    model = models.CharField(max_length=60)
    configuration = models.CharField(max_length=60, blank=True)
    kind = models.CharField("kind of device", max_length=60, default="Syringe driver")
    nomenclature_scheme = models.CharField(max_length=40, blank=True)
    nomenclature_version = models.CharField(max_length=20, blank=True)
    nomenclature_code = models.CharField(max_length=40, blank=True)
    di = models.CharField("UDI device identifier", max_length=40, blank=True)
    life_support = models.BooleanField("serious injury or death if it fails", default=True)
    power = models.CharField(max_length=10, choices=Power, default=Power.FITTED_PACK)
    supply = models.CharField("supply", max_length=80, blank=True, help_text="Mains voltage, external supply, class")
    protection = models.CharField(
        "class of protection against electric shock",
        max_length=1,
        blank=True,
        choices=[(each.value, each.label) for each in Protection],
    )
    applied_part = models.CharField(
        "type of its applied part",
        max_length=2,
        blank=True,
        choices=[(each.value, each.label) for each in AppliedPart],
    )
    chemistry = models.CharField("battery chemistry", max_length=20, blank=True)
    pack_part_number = models.CharField(max_length=40, blank=True)
    charging_hours = models.DecimalField("hours to charge fully", max_digits=5, decimal_places=2, validators=[POSITIVE])
    reference_rate = models.DecimalField("reference rate, mL/h", max_digits=7, decimal_places=2, validators=[POSITIVE])
    replacement_level = models.DecimalField(
        "replacement level (runtime fraction)",
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.800"),
        validators=LEVEL,
    )
    temperature_coefficient = models.DecimalField(
        "runtime gained per K above the reference temperature (share)",
        max_digits=5,
        decimal_places=4,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal("0.05"))],
        help_text="As the maker of the pack states it; empty: tests are not corrected for temperature",
    )
    reference_temperature_c = models.DecimalField(
        "reference temperature, °C", max_digits=4, decimal_places=1, default=Decimal("20.0")
    )
    service_life_months = models.PositiveSmallIntegerField("expected service life, months", null=True, blank=True)
    end_of_support = models.DateField(null=True, blank=True)
    follow_maker = models.CharField("must follow the maker's schedule because", max_length=200, blank=True)
    price = models.DecimalField("list price", max_digits=9, decimal_places=2, null=True, blank=True)
    source = models.CharField("source of these facts", max_length=200, blank=True)

    class Meta:
        ordering = ["maker__name", "model"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "model", "configuration"], name="device_type_once"),
            models.CheckConstraint(
                name="device_type_level_is_fraction",
                condition=Q(replacement_level__gt=0, replacement_level__lte=1),
            ),
            models.CheckConstraint(
                name="device_type_charging_and_rate_positive", condition=Q(charging_hours__gt=0, reference_rate__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.model}" + (f" ({self.configuration})" if self.configuration else "")


class TypeIdentifier(models.Model):
    """A further UDI device identifier of a type, told by whoever first scanned it: each package has its own."""

    di = models.CharField("UDI device identifier", max_length=40, unique=True)
    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="identifiers")
    learned_at = models.DateTimeField()
    by_name = models.CharField(max_length=120)

    def __str__(self) -> str:
        return self.di


class StandingManager(models.Manager[M_co]):
    """Only the rows that still stand; `history` has those that were dropped as well."""

    def get_queryset(self) -> models.QuerySet[M_co]:
        """Leave out what was dropped."""
        return super().get_queryset().filter(dropped_at__isnull=True)


class RatedRuntime(models.Model):
    """Hours that a new pack lasts at one delivery rate, as the maker states it."""

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="rated_runtimes")
    rate = models.DecimalField("delivery rate, mL/h", max_digits=7, decimal_places=2, validators=[POSITIVE])
    hours = models.DecimalField("rated runtime, h", max_digits=6, decimal_places=2, validators=[POSITIVE])
    source = models.CharField(max_length=120, blank=True)
    dropped_at = models.DateTimeField("no longer stated since", null=True, blank=True)

    objects: ClassVar[StandingManager["RatedRuntime"]] = StandingManager()
    history: ClassVar[models.Manager["RatedRuntime"]] = models.Manager()

    class Meta:
        ordering = ["rate"]
        constraints = [
            models.UniqueConstraint(
                fields=["device_type", "rate"],
                name="rated_runtime_once_per_rate",
                condition=Q(dropped_at__isnull=True),
            ),
            models.CheckConstraint(name="rated_runtime_positive", condition=Q(rate__gt=0, hours__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.hours} h at {self.rate} mL/h"


class Accessory(models.Model):
    """A part that belongs to each driver of a type: power lead, pole clamp, data lead, key."""

    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="accessories")
    name = models.CharField(max_length=60)
    part_number = models.CharField(max_length=40, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)
    if_missing = models.CharField("what to do when it is missing", max_length=200, blank=True)
    dropped_at = models.DateTimeField("no longer belongs since", null=True, blank=True)

    objects: ClassVar[StandingManager["Accessory"]] = StandingManager()
    history: ClassVar[models.Manager["Accessory"]] = models.Manager()

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "accessories"
        constraints = [
            models.UniqueConstraint(
                fields=["device_type", "name"], name="accessory_once_per_type", condition=Q(dropped_at__isnull=True)
            )
        ]

    def __str__(self) -> str:
        return self.name


class DeviceQuerySet(PlacedQuerySet["Device"]):
    """Devices; seen from their home place and from where they are now."""

    path_lookups = ("home__path", "place__path")


class Device(models.Model):
    """One physical driver. Never deleted; its asset number is never given to another."""

    class Pool(models.TextChoices):
        CLINICAL = "clinical", "Clinical"
        LOAN = "loan", "Loan"
        TRAINING = "training", "Training"
        SPARE = "spare", "Spare"

    class Owner(models.TextChoices):
        HOSPITAL = "hospital", "The hospital"
        RENTED = "rented", "Rented or on loan to us"
        TRIAL = "trial", "On trial"
        PATIENT = "patient", "The patient"

    asset_number = models.CharField(max_length=30, unique=True)
    serial_number = models.CharField(max_length=40, db_index=True)
    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="devices")
    udi = models.CharField("UDI as scanned", max_length=200, blank=True)
    di = models.CharField("UDI device identifier", max_length=40, blank=True, db_index=True)
    lot = models.CharField(max_length=40, blank=True)
    pool = models.CharField(max_length=10, choices=Pool, default=Pool.CLINICAL)
    owner = models.CharField(max_length=10, choices=Owner, default=Owner.HOSPITAL)
    cost_centre = models.CharField(max_length=40, blank=True)
    home = models.ForeignKey(Place, models.PROTECT, related_name="home_devices")
    place = models.ForeignKey(Place, models.PROTECT, related_name="devices_here")
    last_seen_at = models.DateTimeField(null=True, blank=True)
    last_seen_place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    last_seen_source = models.CharField(max_length=40, blank=True)

    condition = models.CharField(
        max_length=12,
        choices=[(condition.value, condition.label) for condition in Condition],
        default=Condition.WAITING.value,
    )
    wait_reason = models.CharField(max_length=16, blank=True, choices=[(each.value, each.label) for each in WaitReason])
    condition_since = models.DateTimeField()
    quarantined = models.BooleanField(default=False)

    delivered_on = models.DateField(null=True, blank=True)
    accepted_on = models.DateField("accepted and put into use on", null=True, blank=True)
    warranty_until = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    supplier = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    service_provider = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    price = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    purchase_order = models.CharField(max_length=40, blank=True)

    firmware = models.CharField("firmware version", max_length=30, blank=True)
    firmware_seen_at = models.DateTimeField(null=True, blank=True)
    running_hours = models.DecimalField(max_digits=9, decimal_places=1, null=True, blank=True)
    running_hours_at = models.DateTimeField(null=True, blank=True)

    # Overrides of the type's values; empty means the type's value holds.
    own_charging_hours = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True, validators=[POSITIVE]
    )
    own_replacement_level = models.DecimalField(max_digits=4, decimal_places=3, null=True, blank=True, validators=LEVEL)
    own_service_life_months = models.PositiveSmallIntegerField(null=True, blank=True)

    # Stored so that lists need no arithmetic: written by the schedules room only (through registry.actions.note_due).
    next_due = models.DateField(null=True, blank=True)
    next_due_closes = models.DateField(null=True, blank=True)
    late_since = models.DateField(null=True, blank=True)

    # Part of the signed link on the label; raised by one, every older label stops working.
    label_issue = models.PositiveSmallIntegerField(default=1)

    objects = DeviceQuerySet.as_manager()

    class Meta:
        ordering = ["asset_number"]
        constraints = [
            models.UniqueConstraint(fields=["device_type", "serial_number"], name="device_serial_once_per_type"),
            models.CheckConstraint(
                name="device_condition_known", condition=Q(condition__in=[condition.value for condition in Condition])
            ),
            models.CheckConstraint(
                name="device_waits_for_a_reason",
                condition=(Q(condition="waiting") & ~Q(wait_reason="")) | (~Q(condition="waiting") & Q(wait_reason="")),
            ),
            models.CheckConstraint(
                name="device_in_service_is_accepted",
                condition=~Q(condition="in_service") | Q(accepted_on__isnull=False),
            ),
            models.CheckConstraint(
                name="device_in_service_not_quarantined", condition=~Q(condition="in_service", quarantined=True)
            ),
            models.CheckConstraint(
                name="device_retired_has_date", condition=~Q(condition="retired") | Q(retired_on__isnull=False)
            ),
            models.CheckConstraint(
                name="device_own_level_is_fraction",
                condition=Q(own_replacement_level__isnull=True)
                | Q(own_replacement_level__gt=0, own_replacement_level__lte=1),
            ),
        ]
        indexes = [
            models.Index(fields=["next_due", "id"], name="device_due_in_service", condition=Q(condition="in_service")),
            models.Index(fields=["late_since", "id"], name="device_late", condition=Q(late_since__isnull=False)),
            models.Index(fields=["place", "condition"], name="device_by_place"),
            models.Index(fields=["home", "condition"], name="device_by_home"),
            models.Index(F("condition"), F("condition_since"), name="device_by_condition"),
            # How many of a ward's drivers of a type are in service, for each row of the bench's queue: all four are
            # columns, so that the index alone answers.
            models.Index(fields=["home", "device_type", "pool", "condition"], name="device_stock"),
        ]

    def __str__(self) -> str:
        return self.asset_number

    @property
    def charging_hours(self) -> Decimal:
        """Hours to charge: the device's own value, or its type's."""
        return self.device_type.charging_hours if self.own_charging_hours is None else self.own_charging_hours

    @property
    def replacement_level(self) -> Decimal:
        """Runtime fraction under which its pack is replaced: its own, or its type's."""
        own = self.own_replacement_level
        return self.device_type.replacement_level if own is None else own

    @property
    def service_life_months(self) -> int | None:
        """Expected service life: its own, or its type's."""
        own = self.own_service_life_months
        return self.device_type.service_life_months if own is None else own


class Transfer(models.Model):
    """A lasting move of a driver's home: from where to where, on which day, in which condition, on whose word.

    What is to come back by a day is a loan. Written once; a transfer back is another.
    """

    device = models.ForeignKey(Device, models.PROTECT, related_name="transfers")
    from_place = models.ForeignKey(Place, models.PROTECT, related_name="+")
    to_place = models.ForeignKey(Place, models.PROTECT, related_name="+")
    on = models.DateField("handed over on")
    state = models.CharField("condition when handed over", max_length=200)
    why = models.CharField("reason", max_length=200)
    cost_centre = models.CharField(max_length=40, blank=True)
    entered_at = models.DateTimeField()
    by_name = models.CharField("transferred by", max_length=120)

    class Meta:
        ordering = ["-on", "-id"]
        constraints = [
            models.CheckConstraint(name="transfer_goes_elsewhere", condition=~Q(from_place=F("to_place"))),
            models.CheckConstraint(name="transfer_says_condition_and_reason", condition=~Q(state="") & ~Q(why="")),
        ]

    def __str__(self) -> str:
        return f"{self.device} to {self.to_place}"
