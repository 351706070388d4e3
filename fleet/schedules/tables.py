"""Dues and plans as tables, and as rows of a CSV file."""

from collections.abc import Collection, Iterable, Iterator
from datetime import date

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.core.due import days_late
from fleet.core.risk import Every
from fleet.schedules.models import Due, DueAttempt, Plan
from fleet.schedules.queries import WorkCalendar, reaches, work_calendar
from fleet.schedules.wording import every_words, first_words, planned_cells, planned_words
from fleet.web import clock, marks, phrases
from fleet.web.csv_out import Cell

CSV_HEADER = (
    "Asset", "Serial", "Type", "Pool", "Site", "Home", "Condition", "Work", "Due on", "Window closed", "Days late",
    "Put off from", "Last attempt", "Planned for", "Why then",
)  # fmt: skip
_NUMBER = {"cell": {"class": "number"}}


def late_words(closes: date, today: date) -> str:
    """`9 days late`."""
    days = days_late(closes, today)
    return f"{days} day late" if days == 1 else f"{days} days late"


def standing(due: Due) -> SafeString:
    """Where a due stands: late, asked for, put off, due, or still to come."""
    today = clock.today()
    if due.closes_on < today:
        return marks.mark("late", late_words(due.closes_on, today).capitalize())
    if due.before_use:
        return marks.mark("due", "Before it is used again")
    if due.asked_by_device:
        return marks.mark("due", "The driver asks for it")
    if due.deferred_from:
        return marks.mark("deferred", f"Put off from {phrases.day(due.deferred_from)}")
    if due.due_on <= today:
        return marks.mark("due")
    return marks.mark("coming", "Window open" if due.opens_on <= today else f"Opens {phrases.day(due.opens_on)}")


class DueTable(tables.Table):
    """One row a due."""

    asset = tables.Column(
        "Driver",
        accessor="device__asset_number",
        linkify=lambda record: reverse("reports:device", args=[record.device.asset_number]),
        attrs={"a": {"class": "ident"}},
    )
    standing = tables.Column("How it stands", accessor="closes_on")
    plan = tables.Column("Work", accessor="plan__name")
    due_on = tables.Column("Due")
    type = tables.Column("Type", accessor="device__device_type__model")
    home = tables.Column("Home", accessor="device__home", order_by=("device__home__site__name", "device__home__name"))
    condition = tables.Column("Driver is", accessor="device__condition")
    tried = tables.Column("Last attempt", orderable=False, empty_values=())
    act = tables.Column("", orderable=False, empty_values=(), attrs={"cell": {"class": "screen-only"}})

    class Meta:
        order_by = "standing"
        empty_text = "No driver is late."

    calendar: WorkCalendar | None = None

    def render_standing(self, record: Due) -> SafeString:
        """A shape and words."""
        return standing(record)

    def render_due_on(self, record: Due) -> SafeString | str:
        """The date in words; the day it is planned for where that is another, and what makes it come up."""
        self.calendar = self.calendar or work_calendar()
        day, why = phrases.day(record.due_on), first_words(reaches(record), clock.today())
        said = [words for words in (planned_words(self.calendar.planned(record)), why) if words]
        below = format_html_join("", ' <span class="hint block">{}</span>', ((words,) for words in said))
        return format_html("<span>{}{}</span>", day, below) if said else day

    def render_home(self, record: Due) -> SafeString:
        """The place, and its site below."""
        return format_html('<span>{} <span class="soft">{}</span></span>', record.device.home, record.device.home.site)

    def render_condition(self, record: Due) -> SafeString:
        """A shape and a word, and what it waits for."""
        return marks.condition_mark(
            record.device.condition, record.device.get_wait_reason_display(), record.device.pool
        )

    def render_tried(self, record: Due) -> str:
        """Why the last visit was in vain."""
        return tried_words(record) or "—"

    def render_act(self, record: Due) -> SafeString:
        """The way to put it off or to record a visit."""
        return format_html('<a href="{}">Open</a>', reverse("schedules:one", args=[record.pk]))


def tried_words(due: Due) -> str:
    """Why the last visit was in vain, from the `tried` a list adds; empty when there was none."""
    reason = getattr(due, "tried", None)
    return DueAttempt.Reason(reason).label if reason else ""


def csv_rows(dues: Iterable[Due]) -> Iterator[tuple[Cell, ...]]:
    """The rows of CSV_HEADER."""
    today, calendar = clock.today(), work_calendar()
    for due in dues:
        device = due.device
        yield (
            device.asset_number,
            device.serial_number,
            str(device.device_type),
            device.get_pool_display(),
            str(device.home.site),
            str(device.home),
            device.get_condition_display(),
            due.plan.name,
            due.due_on,
            due.closes_on,
            days_late(due.closes_on, today),
            due.deferred_from,
            tried_words(due),
            *planned_cells(due, calendar),
        )


class AlternativeTable(DueTable):
    """One row a due that follows another schedule than the maker's, with who judged that and why."""

    every = tables.Column("Every", accessor="pk", orderable=False)
    reason = tables.Column("Why", accessor="pk", orderable=False)
    judged = tables.Column("Evaluated by", accessor="pk", orderable=False)
    review = tables.Column("To be reviewed", accessor="pk", orderable=False)

    class Meta:
        order_by = "type"
        empty_text = "No driver follows another schedule than its maker's."
        exclude = ("standing", "due_on", "condition", "tried")
        sequence = ("asset", "type", "home", "plan", "every", "reason", "judged", "review", "act")

    def render_every(self, record: Due) -> str:
        """The interval that holds, and the plan's where the driver has its own."""
        words, own = every_words(record.every), record.own_every_months is not None
        return f"{words}; its plan says {every_words(Every(record.plan.every_months)) or 'none'}" if own else words

    def render_reason(self, record: Due) -> str:
        """The reason of its own interval, else its plan's."""
        if record.own_every_months is not None:
            return record.own_why or "The reason stands in the driver's history"
        return record.plan.basis_reason

    def render_judged(self, record: Due) -> str:
        """Who, and when."""
        if record.own_every_months is not None:
            return judged_words(record.own_by, record.own_on)
        return judged_words(record.plan.basis_by, record.plan.basis_on)

    def render_review(self, record: Due) -> SafeString | str:
        """The day, marked when it has passed."""
        own = record.own_every_months is not None
        return review_words(record.own_review_on if own else record.plan.basis_review_on)


def judged_words(by: str, on: date | None) -> str:
    """Who evaluated it, and when."""
    return f"{by}, {phrases.day(on)}" if by and on else "—"


def review_words(on: date | None) -> SafeString | str:
    """The day of review, marked when it has passed."""
    if on is None:
        return "—"
    return marks.mark("late", phrases.day(on)) if on < clock.today() else phrases.day(on)


class DepartedTable(tables.Table):
    """One row a plan on another schedule than its maker's, with all that must stand beside it."""

    device_type = tables.Column("Type", orderable=False)
    name = tables.Column("Plan", orderable=False)
    maker = tables.Column("The maker asks", accessor="pk", orderable=False)
    ours = tables.Column("The plan asks", accessor="pk", orderable=False)
    reason = tables.Column("Why", accessor="basis_reason", orderable=False)
    evidence = tables.Column("Evidence", accessor="basis_evidence", orderable=False)
    judged = tables.Column("Evaluated by", accessor="basis_by", orderable=False)
    review = tables.Column("To be reviewed", accessor="basis_review_on", orderable=False, empty_values=())
    drivers = tables.Column("Drivers", attrs=_NUMBER, orderable=False)

    def render_device_type(self, record: Plan) -> SafeString:
        """The type, and its score where it has one."""
        risks = getattr(record.device_type, "standing_risks", [])
        score = f"risk score {risks[0].score}" if risks else "no risk score"
        address = reverse("schedules:type_risk", args=[record.device_type_id])
        return format_html('<span>{} <a class="hint block" href="{}">{}</a></span>', record.device_type, address, score)

    def render_maker(self, record: Plan) -> SafeString | str:
        """The maker's interval, and the document that states it."""
        words = every_words(record.maker_every) or "not stated"
        return format_html('<span>{} <span class="hint block">{}</span></span>', words, record.document)

    def render_ours(self, record: Plan) -> str:
        """The plan's interval."""
        return every_words(record.every)

    def render_judged(self, record: Plan) -> SafeString | str:
        """Who and when, and who allowed it for a high-risk type."""
        words = judged_words(record.basis_by, record.basis_on)
        if not record.allowed_by:
            return words
        return format_html('<span>{} <span class="hint block">allowed by {}</span></span>', words, record.allowed_by)

    def render_review(self, record: Plan) -> SafeString | str:
        """The day, marked when it has passed."""
        return review_words(record.basis_review_on)


class PlanTable(tables.Table):
    """One row a plan."""

    name = tables.Column("Plan")
    device_type = tables.Column("For", order_by=("device_type__maker__name", "device_type__model"))
    kind = tables.Column("Work")
    every = tables.Column("Every", accessor="pk", orderable=False)
    window = tables.Column("Window", accessor="pk", orderable=False)
    mode = tables.Column("Counted")
    basis = tables.Column("On whose word")
    live_dues = tables.Column("Drivers", attrs=_NUMBER)

    class Meta:
        order_by = "device_type"
        empty_text = "There is no plan yet."

    def __init__(self, *args: object, may_edit: bool, on_their_way: Collection[int], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.may_edit = may_edit
        self.on_their_way = on_their_way

    def render_name(self, record: Plan) -> SafeString | str:
        """The name; it leads to its form where the reader may edit it."""
        words = record.name if record.active else f"{record.name} (not in use)"
        if not self.may_edit:
            return words
        return format_html('<a href="{}">{}</a>', reverse("schedules:plan", args=[record.pk]), words)

    def render_every(self, record: Plan) -> str:
        """Months, running hours, charge cycles."""
        return every_words(record.every)

    def render_window(self, record: Plan) -> str:
        """Days before and after."""
        return f"{record.window_before_days} days before to {record.window_after_days} after"

    def render_live_dues(self, record: Plan, value: int) -> SafeString | str:
        """How many drivers have it, and whether a change has still to reach them."""
        if record.pk not in self.on_their_way:
            return str(value)
        return format_html('{} <span class="hint">its dues are being reckoned</span>', value)
