"""Drivers that stand in some state, and the trail, as tables and as rows of a file."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.audit.models import TrailEntry
from fleet.core.identifiers import hyphenated
from fleet.registry.models import Device
from fleet.reports.wording import kind_words, plain, subject_words, told
from fleet.web import clock, marks, phrases
from fleet.web.csv_out import Cell

TRAIL_HEADER = (
    "Entered at", "Done at", "Entered late", "Who", "By way of", "What", "Kind of record", "Record", "Changes in words",
    "Before", "After", "Why",
)  # fmt: skip


class DriverTable(tables.Table):
    """One row a driver of `queries.standing_so`."""

    asset_number = tables.Column("Driver")
    condition = tables.Column("Condition", orderable=False)
    condition_since = tables.Column("Since")
    tag_number = tables.Column("Tag", order_by="tagged_at", default="—")
    device_type = tables.Column("Type", order_by=("device_type__maker__name", "device_type__model"))
    place = tables.Column("Is at", order_by="place__name")
    home = tables.Column("Home", order_by=("home__site__name", "home__name"))

    def render_asset_number(self, value: str) -> SafeString:
        """The number, leading to the driver's page."""
        return format_html('<a class="ident" href="{}">{}</a>', reverse("reports:device", args=[value]), value)

    def render_condition(self, record: Device) -> SafeString:
        """A shape and a word, and the quarantine beside it."""
        condition = marks.condition_mark(record.condition, record.get_wait_reason_display(), record.pool)
        return (
            format_html("<span>{} {}</span>", condition, marks.mark("quarantine")) if record.quarantined else condition
        )

    def render_condition_since(self, value: datetime) -> str:
        """The day, and how long ago."""
        return _since(value)

    def render_tag_number(self, record: Any) -> SafeString:
        """The number as on paper, leading to the tag, and since when it is open."""
        number = record.tag_number
        return format_html(
            '<span><a class="ident" href="{}">{}</a> <span class="soft">{}</span></span>',
            reverse("tags:tag", args=[number]),
            hyphenated(number),
            _since(record.tagged_at),
        )

    def render_home(self, record: Device) -> SafeString:
        """The place, and its site beside it."""
        return format_html('<span>{} <span class="soft">{}</span></span>', record.home, record.home.site)


class TrailTable(tables.Table):
    """One row an entry of the trail. `drivers` holds the asset numbers of the page's drivers, `people` names, by id."""

    done_at = tables.Column("When", order_by="id")
    actor = tables.Column("Who", orderable=False)
    verb = tables.Column("What", orderable=False)
    device_ref = tables.Column("Driver", orderable=False, default="—")
    changes = tables.Column("Changes", orderable=False, empty_values=(), accessor="pk")
    why = tables.Column("Why", orderable=False, default="—")

    class Meta:
        order_by = "-done_at"

    drivers: Mapping[int, str] = MappingProxyType({})
    people: Mapping[int, str] = MappingProxyType({})

    def render_done_at(self, record: TrailEntry) -> SafeString:
        """When it was done, and when it was entered if that was later."""
        late = told(record, self.people).late
        return format_html('<span>{} <span class="soft">{}</span></span>', _minute(record.done_at), late)

    def render_actor(self, record: TrailEntry) -> str:
        """The name, and whether it came out of a file."""
        return told(record, self.people).who

    def render_verb(self, record: TrailEntry) -> SafeString:
        """The act, and what it was done to where that is not the driver itself."""
        line = told(record, self.people)
        of = "" if record.subject_kind == "device" else line.of
        shown = format_html('<a href="{}">{}</a>', line.url, of) if line.url and of else of
        return format_html("<span>{} {}</span>", line.done, shown)

    def render_device_ref(self, value: int) -> SafeString | str:
        """The asset number, leading to the driver's page."""
        asset = self.drivers.get(value)
        if asset is None:
            return "—"
        return format_html('<a class="ident" href="{}">{}</a>', reverse("reports:device", args=[asset]), asset)

    def render_changes(self, record: TrailEntry) -> str:
        """From what to what."""
        return told(record, self.people).in_words or "—"


def _minute(moment: datetime) -> str:
    return phrases.moment(timezone.localtime(moment))


def _since(moment: datetime) -> str:
    on = timezone.localdate(moment)
    return f"{phrases.day(on)}, {phrases.ago(on, clock.today())}"


def trail_rows(entries: Iterable[TrailEntry], people: Mapping[int, str]) -> Iterator[tuple[Cell, ...]]:
    """The rows of TRAIL_HEADER, one an entry; before and after also as they were kept."""
    for entry in entries:
        yield (
            _instant(entry.entered_at),
            _instant(entry.done_at),
            "late" if entry.late else "",
            entry.actor,
            entry.source,
            entry.verb,
            kind_words(entry.subject_kind),
            subject_words(entry),
            told(entry, people).in_words,
            plain(entry.before),
            plain(entry.after),
            entry.why,
        )


def _instant(moment: datetime) -> str:
    """Local time with its offset, so that no hour of a changed clock is told twice."""
    return timezone.localtime(moment).isoformat(sep=" ", timespec="seconds")
