"""The register's drivers as a table and as rows of a CSV file."""

from collections.abc import Iterable, Iterator
from datetime import datetime

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.registry.models import Device, DeviceType
from fleet.web import clock, marks, phrases
from fleet.web.csv_out import Cell

CSV_HEADER = (
    "Asset", "Serial", "UDI", "Type", "Pool", "Owner", "Site", "Home", "Is at", "Condition", "Waits for", "Quarantine",
    "Accepted on", "Warranty until", "Next due", "Window closes", "Late since", "Last seen", "Seen at", "Seen by",
    "Firmware", "Charging hours", "Replacement level", "Service life, months", "Price", "Currency",
)  # fmt: skip


def condition_words(device: Device) -> SafeString:
    """Its condition, and the quarantine beside it."""
    condition = marks.condition_mark(device.condition, device.get_wait_reason_display(), device.pool)
    both = format_html("<span>{} {}</span>", condition, marks.mark("quarantine"))
    return both if device.quarantined else condition


class DeviceTable(tables.Table):
    """One row a driver. The tick boxes belong to the form `labels` of the page around it."""

    pick = tables.Column("Label", accessor="asset_number", orderable=False, attrs={"cell": {"class": "screen-only"}})
    asset_number = tables.Column("Driver, serial")
    device_type = tables.Column("Type", order_by=("device_type__maker__name", "device_type__model"))
    pool = tables.Column("Pool")
    home = tables.Column("Home", attrs={"cell": {"class": "roomy"}}, order_by=("home__site__name", "home__name"))
    condition = tables.Column(
        "Condition", attrs={"cell": {"class": "wraps"}}, order_by=("condition", "condition_since")
    )
    next_due = tables.Column("Next due", empty_values=())
    last_seen_at = tables.Column("Last seen", empty_values=())

    class Meta:
        order_by = "asset_number"
        empty_text = "No driver fits this."

    def render_pick(self, value: str) -> SafeString:
        """A tick box for the sheet of labels."""
        return format_html(
            '<input type="checkbox" name="asset" value="{0}" form="labels" aria-label="Label for {0}">', value
        )

    def render_asset_number(self, value: str, record: Device) -> SafeString:
        """The number, leading to the driver's page, and the serial number below."""
        return format_html(
            '<span><a class="ident" href="{}">{}</a> <span class="ident soft below">{}</span></span>',
            reverse("reports:device", args=[value]),
            value,
            record.serial_number,
        )

    def render_device_type(self, value: DeviceType) -> SafeString:
        """The model, and its maker below."""
        return format_html(
            '<span>{} {} <span class="soft below">{}</span></span>', value.model, value.configuration, value.maker
        )

    def render_home(self, record: Device) -> SafeString:
        """The place, its site, and where it stands if it has wandered."""
        away = record.place_id != record.home_id
        now = format_html('<span class="below">now at {}</span>', record.place) if away else ""
        return format_html('<span>{} <span class="soft below">{}</span> {}</span>', record.home, record.home.site, now)

    def render_condition(self, record: Device) -> SafeString:
        """A shape and words."""
        return condition_words(record)

    def render_next_due(self, record: Device) -> SafeString | str:
        """The date, marked when it is late."""
        if record.next_due is None:
            return "—"
        day = phrases.day(record.next_due)
        return marks.mark("late", f"Late: {day}") if record.late_since else day

    def render_last_seen_at(self, value: datetime | None) -> str:
        """How long ago."""
        return phrases.moment_ago(value, timezone.localtime(clock.now())) if value else "Never"


def csv_rows(devices: Iterable[Device]) -> Iterator[tuple[Cell, ...]]:
    """The rows of CSV_HEADER."""
    for device in devices:
        yield (
            *_identity(device),
            *_standing(device),
            device.firmware,
            device.charging_hours,
            device.replacement_level,
            device.service_life_months,
            device.price,
            device.currency,
        )


def _identity(device: Device) -> tuple[Cell, ...]:
    return (
        device.asset_number,
        device.serial_number,
        device.udi,
        str(device.device_type),
        device.get_pool_display(),
        device.get_owner_display(),
        str(device.home.site),
        str(device.home),
        str(device.place),
    )


def _standing(device: Device) -> tuple[Cell, ...]:
    return (
        device.get_condition_display(),
        device.get_wait_reason_display(),
        "yes" if device.quarantined else "no",
        device.accepted_on,
        device.warranty_until,
        device.next_due,
        device.next_due_closes,
        device.late_since,
        timezone.localtime(device.last_seen_at) if device.last_seen_at else None,
        str(device.last_seen_place or ""),
        device.last_seen_source,
    )
