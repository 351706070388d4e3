"""Work orders."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from fleet.bench.models.procedures import OrderKind, ProcedureVersion
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import OrderState, Outcome, outcome_label
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, Party, Place
from fleet.schedules.models import Due
from fleet.stores.models import Calibration
from fleet.tags.models import Decontamination, Tag

#: How a line of what was reported begins that asks for a recheck.
RECHECK = "Recheck: "


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

    class Finding(models.TextChoices):
        """What a planned service came upon; the question by which its interval is judged."""

        NOTHING = "nothing", "Nothing found"
        MINOR = "minor", "Something minor, put right in passing"
        HIDDEN = "hidden", "A hidden failure: nobody would have noticed until it was needed"
        POTENTIAL = "potential", "A potential failure: it still worked, and was about to fail"
        WEAR = "wear", "Wear beyond what the service replaces"

    class Caused(models.TextChoices):
        """Whether the work before a repair brought its fault about. Proposed by the calendar, judged by a person."""

        YES = "yes", "Yes, that work caused it"
        NO = "no", "No, it has another cause"
        UNCLEAR = "unclear", "It cannot be told"

    class Cause(models.TextChoices):
        """Why a driver failed, or seemed to, as one word that can be counted; more is said in `cause`."""

        WEAR = "wear", "Wear or age"
        KNOCK = "knock", "A knock or a fall"
        FLUID = "fluid", "Fluid got in"
        HANDLING = "handling", "How it was set up or handled"
        ATTACHED = "attached", "Something attached: syringe, line, lead, clamp"
        POWER = "power", "Mains or charging"
        SOFTWARE = "software", "Software or library"
        WORK = "work", "Work done on it before"
        UNKNOWN = "unknown", "Cause not known"
        OTHER = "other", "Something else"

    class Action(models.TextChoices):
        """What was chiefly done about it, as one word that can be counted; more is said in `action_taken`."""

        PART = "part", "Part replaced"
        PACK = "pack", "Battery pack replaced"
        ADJUSTED = "adjusted", "Adjusted or calibrated"
        MENDED = "mended", "Mended, cleaned or fixed without a part"
        LOADED = "loaded", "Software or library loaded"
        EXPLAINED = "explained", "Nothing on the driver; the ward was told how to use it"
        CHECKED = "checked", "Nothing but checks"
        SENT = "sent", "Done by the maker or a provider"
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
    cause_kind = models.CharField("kind of cause", max_length=10, choices=Cause, blank=True)
    cause = models.CharField(max_length=200, blank=True)
    action_kind = models.CharField("kind of action", max_length=10, choices=Action, blank=True)
    action_taken = models.TextField(blank=True)
    finding = models.CharField("what the service came upon", max_length=10, choices=Finding, blank=True)
    work_before = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="faults_after", verbose_name="work shortly before"
    )
    caused_by_work = models.CharField("caused by that work", max_length=8, choices=Caused, blank=True)
    outcome = models.CharField(
        max_length=16, blank=True, choices=[(outcome.value, outcome.label) for outcome in Outcome]
    )
    returned_to = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="+")
    completed_at = models.DateTimeField(null=True, blank=True)
    completed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    cancelled_why = models.TextField(blank=True)
    # Of a recheck: the positions of the steps it asks for (none: the whole procedure), that in words, and who wanted
    # the whole after all and why.
    asked = models.JSONField("steps asked for", default=list, blank=True)
    asked_words = models.TextField("what is asked, and why", blank=True)
    widened_why = models.CharField("why the whole procedure after all", max_length=300, blank=True)
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
            models.CheckConstraint(
                name="order_cause_names_the_work", condition=Q(caused_by_work="") | Q(work_before__isnull=False)
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

    def get_outcome_display(self) -> str:  # type: ignore[no-redef] # Django keeps the one that a model has itself
        """The outcome in the words of this kind of work: an acceptance ends as accepted."""
        return outcome_label(Outcome(self.outcome), self.kind) if self.outcome else ""

    def get_kind_display(self) -> str:  # type: ignore[no-redef] # as above
        """Why the driver is on the bench; a planned order that measures again what is in doubt says so."""
        kind = str(OrderKind(self.kind).label)
        if not self.rechecks:
            return kind
        return f"{kind} and recheck" if self.due_id else "Recheck"

    @property
    def rechecks(self) -> list[str]:
        """What is to be measured again, since it was measured with an instrument out of its limits."""
        if self.kind != OrderKind.PLANNED:
            return []
        return [line for line in self.reported.splitlines() if line.startswith(RECHECK)]


class Recheck(models.Model):
    """That an order measures again what one calibration put in doubt; `raised`: it was raised for this."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="doubts")
    calibration = models.ForeignKey(Calibration, models.PROTECT, related_name="rechecks")
    raised = models.BooleanField("the order was raised for it")

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["order", "calibration"], name="recheck_once")]

    def __str__(self) -> str:
        return f"Order {self.order} measures again what calibration {self.calibration.certificate} put in doubt"
