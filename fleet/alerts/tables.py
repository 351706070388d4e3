"""Open alerts as a table."""

from datetime import datetime

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.alerts.models import Alert
from fleet.web import clock, marks, phrases

_NUMBER = {"cell": {"class": "number"}}


class AlertTable(tables.Table):
    """One row an open alert, the longest open first."""

    asset = tables.Column(
        "Driver",
        accessor="device__asset_number",
        linkify=lambda record: reverse("reports:device", args=[record.device.asset_number]),
        attrs={"a": {"class": "ident"}},
    )
    kind = tables.Column("Alert", order_by="kind__words")
    first_at = tables.Column("First seen")
    last_at = tables.Column("Last seen")
    times = tables.Column("Times", attrs=_NUMBER)
    home = tables.Column("Home", accessor="device__home", order_by=("device__home__site__name", "device__home__name"))
    condition = tables.Column("Driver is", accessor="device__condition")
    act = tables.Column("", orderable=False, empty_values=(), attrs={"cell": {"class": "screen-only"}})

    class Meta:
        order_by = "first_at"

    def render_kind(self, record: Alert) -> SafeString:
        """The kind, and what the screen said."""
        if not record.screen_text:
            return marks.mark("alert", record.kind.words)
        return format_html(
            '<span>{} <span class="soft">“{}”</span></span>', marks.mark("alert", record.kind.words), record.screen_text
        )

    def render_first_at(self, value: datetime) -> str:
        """How long ago."""
        return _ago(value)

    def render_last_at(self, value: datetime) -> str:
        """How long ago."""
        return _ago(value)

    def render_home(self, record: Alert) -> SafeString:
        """The place and its site."""
        return format_html('<span>{} <span class="soft">{}</span></span>', record.device.home, record.device.home.site)

    def render_condition(self, record: Alert) -> SafeString:
        """A shape and a word, and what it waits for."""
        return marks.condition_mark(
            record.device.condition, record.device.get_wait_reason_display(), record.device.pool
        )

    def render_act(self, record: Alert) -> SafeString:
        """The way to its page."""
        return format_html('<a href="{}">Open</a>', reverse("alerts:one", args=[record.pk]))


def _ago(moment: datetime) -> SafeString:
    local, now = timezone.localtime(moment), timezone.localtime(clock.now())
    return format_html('<span title="{}">{}</span>', phrases.moment(local), phrases.moment_ago(local, now))
