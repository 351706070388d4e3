"""Safety notices with their editions and criteria, and what was done about each driver."""

from typing import Final, Self

from django.conf import settings
from django.db import models
from django.db.models import Case, Q, Value, When

from fleet.bench.models import Order
from fleet.core.lifecycle import Condition
from fleet.core.matching import Line
from fleet.core.orders import ABSENT_OUTCOMES, OrderState
from fleet.core.words import Worded
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceType
from fleet.tags.models import Tag
from fleet.web.uploads import StoredFile


class Notice(models.Model):
    """One safety notice or recall. What it says stands in its editions; a correction is a new one."""

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        OPEN = "open", "Open"
        CLOSED = "closed", "Closed"

    class Closed(models.TextChoices):
        DONE = "done", "All that it asks is done"
        WITHDRAWN = "withdrawn", "Its issuer took it back"
        UNUSED = "unused", "The draft was not used"

    number = models.CharField(max_length=12, unique=True)
    state = models.CharField(max_length=6, choices=State, default=State.DRAFT)
    # What holds: the first draft while it is one, then the last edition that was opened.
    edition = models.ForeignKey("Edition", models.PROTECT, null=True, related_name="+")
    opened_at = models.DateTimeField(null=True, blank=True)
    opened_by_name = models.CharField(max_length=120, blank=True)
    matched_at = models.DateTimeField("drivers last matched at", null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_how = models.CharField(max_length=10, choices=Closed, blank=True)
    closed_why = models.TextField(blank=True)
    closed_by_name = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                name="notice_closed_says_how",
                condition=Q(state="closed", closed_at__isnull=False) & ~Q(closed_how="")
                | ~Q(state="closed") & Q(closed_how=""),
            ),
            models.CheckConstraint(name="notice_open_since", condition=~Q(state="open") | Q(opened_at__isnull=False)),
        ]

    def __str__(self) -> str:
        return self.number


def live(prefix: str = "") -> Q:
    """Notices whose drivers count: open ones, and those closed as done, to which a driver may still come."""
    done = {f"{prefix}state": Notice.State.CLOSED, f"{prefix}closed_how": Notice.Closed.DONE}
    return Q(**{f"{prefix}state": Notice.State.OPEN}) | Q(**done)


class Edition(models.Model):
    """What a notice says. It may be changed until it is opened; after that a new edition corrects it."""

    class Gravity(models.TextChoices):
        GRAVE = "grave", "Somebody could die or be badly harmed"
        SOME = "some", "Somebody could be harmed"
        SLIGHT = "slight", "No harm is expected"

    class Action(models.TextChoices):
        STOP = "stop", "Stop using it"
        PART = "part", "Replace a part"
        SOFTWARE = "software", "Update its software"
        INSPECT = "inspect", "Look it over or test it"
        RETURN = "return", "Send it back to the maker"
        ADVISE = "advise", "Tell its users"

    notice = models.ForeignKey(Notice, models.PROTECT, related_name="editions")
    number = models.PositiveSmallIntegerField(default=1)
    title = models.CharField(max_length=120)
    issuer = models.CharField("issued by", max_length=80)
    reference = models.CharField("the issuer's reference", max_length=60, blank=True)
    issued_on = models.DateField()
    received_on = models.DateField()
    source = models.CharField("where it came from", max_length=200, blank=True)
    gravity = models.CharField("how grave", max_length=6, choices=Gravity)
    action = models.CharField("what to do", max_length=10, choices=Action)
    words = models.TextField("what to do, in words")
    by_when = models.DateField("to be done by", null=True, blank=True)
    on_the_spot = models.BooleanField("it can be done where the driver stands", default=False)
    raises_orders = models.BooleanField("an order is raised for each driver", default=False)
    take_along = models.CharField("parts and instruments to have along", max_length=200, blank=True)
    changes = models.CharField("what this edition corrects", max_length=300, blank=True)
    written_by_name = models.CharField(max_length=120)
    opened_at = models.DateTimeField(null=True, blank=True)
    opened_by_name = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["notice", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["notice", "number"], name="notice_edition_once"),
            models.UniqueConstraint(fields=["notice"], name="notice_one_draft", condition=Q(opened_at__isnull=True)),
        ]

    def __str__(self) -> str:
        return f"{self.notice.number}, edition {self.number}"


class NoticeFile(StoredFile):
    """The notice as it was received."""

    edition = models.ForeignKey(Edition, models.PROTECT, related_name="files")
    dropped_at = models.DateTimeField("taken out of the draft at", null=True, blank=True)


class Criterion(models.Model):
    """One line of which drivers an edition concerns; the lines are alternatives. See `core.matching`."""

    edition = models.ForeignKey(Edition, models.PROTECT, related_name="criteria")
    device_type = models.ForeignKey(DeviceType, models.PROTECT, related_name="+")
    serial_from = models.CharField("serial numbers from", max_length=40, blank=True)
    serial_to = models.CharField("to", max_length=40, blank=True)
    serials = models.JSONField("single serial numbers", default=list, blank=True)
    software = models.JSONField("software versions", default=list, blank=True)
    pack_part_number = models.CharField("pack part number", max_length=40, blank=True)
    code_from = models.CharField("date codes of packs from", max_length=20, blank=True)
    code_to = models.CharField("date codes to", max_length=20, blank=True)
    dropped_at = models.DateTimeField("taken out of the draft at", null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "criteria"

    def __str__(self) -> str:
        return f"{self.device_type}{'; ' if self.narrows else ''}{'; '.join(self.narrows)}"

    @property
    def line(self) -> Line:
        """The line as the core compares it."""
        return Line(
            device_type=self.device_type_id,
            serial_from=self.serial_from,
            serial_to=self.serial_to,
            serials=tuple(self.serials),
            software=tuple(self.software),
            pack_part=self.pack_part_number,
            code_from=self.code_from,
            code_to=self.code_to,
        )

    @property
    def narrows(self) -> list[str]:
        """What narrows it down beside the type, in words; none of them: every driver of the type."""
        listed = f"serial {', '.join(self.serials)}" if self.serials else ""
        ranged = _range("serial", self.serial_from, self.serial_to)
        told = (
            " or ".join(filter(None, (ranged, listed))),
            f"software {', '.join(self.software)}" if self.software else "",
            f"pack {self.pack_part_number}" if self.pack_part_number else "",
            _range("pack date code", self.code_from, self.code_to),
        )
        return [words for words in told if words]


def _range(what: str, first: str, last: str) -> str:
    if first and last:
        return f"{what} {first} to {last}"
    return f"{what} {first} and above" if first else f"{what} up to {last}" if last else ""


class Standing(Worded):
    """How a driver stands with a notice, as lists tell it."""

    OPEN = "open", "Open"
    NOT_LOCATED = "not_located", "Not located"
    DONE = "done", "Done"
    NOT_APPLYING = "not_applying", "Looked at, does not apply"
    RETIRED_BEFORE = "retired_before", "Retired before the notice"


#: An order to do what a notice asks has done it, unless it ended without the driver.
_BY_ORDER: Final = Q(order__state=OrderState.DONE.value) & ~Q(
    order__outcome__in=[outcome.value for outcome in ABSENT_OUTCOMES]
)


class AffectedQuerySet(PlacedQuerySet["Affected"]):
    """Drivers of notices, seen with the driver."""

    path_lookups = ("device__home__path", "device__place__path")

    def standing(self) -> Self:
        """With `stands`, a value of Standing. The end of an order and a lost driver are read, not copied."""
        return self.annotate(
            stands=Case(
                When(retired_before=True, then=Value(Standing.RETIRED_BEFORE.value)),
                When(Q(state="done") | _BY_ORDER, then=Value(Standing.DONE.value)),
                When(state="not_applying", then=Value(Standing.NOT_APPLYING.value)),
                When(device__condition=Condition.NOT_LOCATED.value, then=Value(Standing.NOT_LOCATED.value)),
                default=Value(Standing.OPEN.value),
                output_field=models.CharField(),
            )
        )

    def so(self, *standings: Standing) -> Self:
        """Those that stand in one of these ways."""
        return self.standing().filter(stands__in=[each.value for each in standings])


class Affected(models.Model):
    """A driver that a notice concerns, kept from the day it matched, and what was answered for it."""

    class State(models.TextChoices):
        OPEN = "open", "Open"
        DONE = "done", "Done"
        NOT_APPLYING = "not_applying", "Looked at, does not apply"

    notice = models.ForeignKey(Notice, models.PROTECT, related_name="drivers")
    device = models.ForeignKey(Device, models.PROTECT, related_name="notice_lines")
    state = models.CharField(max_length=12, choices=State, default=State.OPEN)
    matched_at = models.DateTimeField()
    later = models.BooleanField("matched after the notice was opened", default=False)
    not_known = models.CharField("what the record does not say", max_length=200, blank=True)
    matches_no_more = models.CharField("why it matches no more", max_length=300, blank=True)
    retired_before = models.BooleanField("retired before the notice was issued", default=False)
    what = models.CharField("what was done, or why it does not apply", max_length=300, blank=True)
    evidence = models.CharField(max_length=200, blank=True)
    done_on = models.DateField(null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    answered_by_name = models.CharField(max_length=120, blank=True)
    order = models.ForeignKey(Order, models.PROTECT, null=True, blank=True, related_name="notice_lines")
    tag = models.ForeignKey(Tag, models.PROTECT, null=True, blank=True, related_name="notice_lines")

    objects = AffectedQuerySet.as_manager()

    class Meta:
        ordering = ["device__asset_number"]
        verbose_name_plural = "affected"
        constraints = [
            models.UniqueConstraint(fields=["notice", "device"], name="notice_driver_once"),
            models.CheckConstraint(
                name="notice_answer_says_what",
                condition=Q(state="open", answered_at__isnull=True)
                | Q(state__in=["done", "not_applying"], answered_at__isnull=False) & ~Q(what=""),
            ),
        ]
        indexes = [models.Index(fields=["device"], name="notice_open_device", condition=Q(state="open"))]

    def __str__(self) -> str:
        return f"{self.device} of {self.notice}"
