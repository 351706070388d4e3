"""Notices, and the drivers of one, as tables and files."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.notices.models import Affected, AffectedQuerySet, Notice, Standing
from fleet.notices.queries import Counts
from fleet.web import clock, marks, phrases
from fleet.web.csv_out import Cell

HEADER: Final = (
    "Notice", "Issuer's reference", "Edition", "Asset number", "Serial number", "Type", "Software", "Place", "Site",
    "Home", "Condition", "Stands", "Came later", "Not on record", "Matches no more", "What was done", "Done on",
    "Evidence", "Order", "Tag", "Answered by", "Answered at",
)  # fmt: skip
_NUMBER: Final = {"cell": {"class": "number"}}
_TICK: Final = {"cell": {"class": "screen-only"}}


class NoticeTable(tables.Table):
    """One row a notice."""

    number = tables.Column(
        "Notice",
        linkify=lambda record: reverse("notices:one", args=[record.number]),
        attrs={"a": {"class": "ident"}},
    )
    title = tables.Column("What", accessor="edition__title")
    by_when = tables.Column("To be done by", accessor="edition__by_when", empty_values=())
    gravity = tables.Column("How grave", accessor="edition__gravity")
    issued_on = tables.Column("Issued", accessor="edition__issued_on")
    open = tables.Column("Open drivers", orderable=False, empty_values=(), attrs=_NUMBER)
    not_located = tables.Column("Not located", orderable=False, empty_values=(), attrs=_NUMBER)
    closure = tables.Column("Closure", orderable=False, empty_values=(), attrs=_NUMBER)

    def __init__(self, *args: Any, counts: Mapping[int, Counts], **kwargs: Any) -> None:
        """`counts`: how the drivers of each notice stand."""
        super().__init__(*args, **kwargs)
        self.counts = counts

    def render_title(self, record: Notice) -> SafeString:
        """The title, who issued it, and what to do."""
        said = record.edition
        lines = (said.title, said.issuer, said.reference, said.get_action_display()) if said else ("", "", "", "")
        return format_html(
            '<span>{} <span class="hint block">{} <span class="ident">{}</span></span>'
            '<span class="hint block">{}</span></span>',
            *lines,
        )

    def render_by_when(self, record: Notice) -> SafeString:
        """The day, and whether it has passed."""
        on = record.edition.by_when if record.edition else None
        if on is None:
            return format_html('<span class="soft">{}</span>', "no day")
        late = record.state == Notice.State.OPEN and on < clock.today()
        return format_html("<span>{} {}</span>", marks.mark("late") if late else "", phrases.day(on))

    def render_gravity(self, record: Notice) -> str:
        """In words."""
        return record.edition.get_gravity_display() if record.edition else ""

    def render_issued_on(self, record: Notice) -> str:
        """The day."""
        return phrases.day(record.edition.issued_on) if record.edition else ""

    def render_open(self, record: Notice) -> int:
        """Drivers that somebody has to do something about."""
        return self.counts[record.pk].open

    def render_not_located(self, record: Notice) -> int:
        """Told apart."""
        return self.counts[record.pk].not_located

    def render_closure(self, record: Notice) -> str:
        """Done, as a share of the affected."""
        return self.counts[record.pk].closure if record.opened_at else "—"


class DriverTable(tables.Table):
    """The drivers of one notice; `tick`: those that can be answered together."""

    tick = tables.Column("Tick", orderable=False, empty_values=(), attrs=_TICK)
    asset = tables.Column(
        "Driver",
        accessor="device__asset_number",
        linkify=lambda record: reverse("notices:driver", args=[record.notice.number, record.device.asset_number]),
        attrs={"a": {"class": "ident"}},
    )
    serial = tables.Column("Serial", accessor="device__serial_number", attrs={"cell": {"class": "ident"}})
    place = tables.Column(
        "Place", accessor="device__place", order_by=("device__place__site__name", "device__place__name")
    )
    condition = tables.Column("It is", accessor="device__condition")
    stands = tables.Column("With the notice", order_by=("stands", "device__asset_number"))
    came_of_it = tables.Column("What came of it", orderable=False, empty_values=())

    class Meta:
        order_by = "asset"

    def render_tick(self, record: Affected) -> SafeString:
        """A box for a driver that is open."""
        if stands(record) is not Standing.OPEN or record.notice.state != Notice.State.OPEN:
            return format_html('<span class="soft">{}</span>', "—")
        return format_html(
            '<label class="check"><input type="checkbox" name="line" value="{}" form="act">'
            ' <span class="hidden">Tick {}</span></label>',
            record.pk,
            record.device.asset_number,
        )

    def render_place(self, record: Affected) -> SafeString:
        """Where it is, or was last."""
        site = record.device.place.site
        return format_html('<span>{} <span class="soft">{}</span></span>', record.device.place, site or "")

    def render_condition(self, record: Affected) -> SafeString:
        """A shape and a word."""
        device = record.device
        return marks.condition_mark(device.condition, device.get_wait_reason_display(), device.pool)

    def render_stands(self, record: Affected) -> SafeString:
        """How it stands, and whether it came later or matches no more."""
        came = f"came after the notice was opened, {phrases.day(clock.local_day(record.matched_at))}"
        notes = (
            came if record.later else "",
            f"matches no more: {record.matches_no_more}" if record.matches_no_more else "",
            record.not_known,
        )
        told = format_html_join("", '<span class="hint block">{}</span>', ((note,) for note in notes if note))
        return format_html("<span>{}{}</span>", stands(record).label, told)

    def render_came_of_it(self, record: Affected) -> str:
        """What was done, by whom, or what is under way."""
        return came_of_it(record) or "—"


def stands(line: Affected) -> Standing:
    """How a driver stands with the notice, as queries.lines told it."""
    return Standing(line.stands)  # type: ignore[attr-defined] # annotated


def came_of_it(line: Affected) -> str:
    """What was done and by whom; or the order or tag under way. Empty where nothing is yet."""
    if line.answered_at:
        on = phrases.day(line.done_on) if line.done_on else ""
        return ", ".join(filter(None, (line.what, line.evidence, on, line.answered_by_name)))
    told = [f"order {line.order}: {line.order.get_state_display().lower()}"] if line.order else []
    if line.tag:
        told.append(f"tag {line.tag.written}{' (cleared)' if line.tag.cleared_at else ''}")
    return ", ".join(told)


def driver_rows(notice: Notice, lines: AffectedQuerySet) -> Iterator[list[Cell]]:
    """The rows of the proof: every driver of the notice with what came of it."""
    said = notice.edition
    for line in lines.iterator(chunk_size=500):
        device = line.device
        yield [
            notice.number,
            said.reference if said else "",
            said.number if said else None,
            device.asset_number,
            device.serial_number,
            str(device.device_type),
            device.firmware,
            str(device.place),
            str(device.place.site or ""),
            str(device.home),
            device.get_condition_display(),
            stands(line).label,
            "yes" if line.later else "",
            line.not_known,
            line.matches_no_more,
            line.what or came_of_it(line),
            line.done_on or _finished(line),
            line.evidence,
            str(line.order or ""),
            line.tag.written if line.tag else "",
            line.answered_by_name,
            f"{clock.local_day(line.answered_at):%Y-%m-%d}" if line.answered_at else "",
        ]


def _finished(line: Affected) -> Cell:
    done = line.order.completed_at if line.order and stands(line) is Standing.DONE else None
    return clock.local_day(done) if done else None
