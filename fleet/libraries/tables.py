"""Drivers with their library version as a table, and the line of current shares as points."""

from collections.abc import Iterable, Mapping
from datetime import date

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.libraries.queries import Standing, State
from fleet.registry.models import Device
from fleet.web import clock, marks, phrases

SHAPES = {
    State.CURRENT: "pass",
    State.BEHIND: "due",
    State.NOT_SEEN: "caution",
    State.UNKNOWN: "none",
    State.FREE: "none",
}
WIDTH, HEIGHT, EDGE = 320, 72, 4


def state_mark(standing: Standing) -> SafeString:
    """The state as a shape and words; a withdrawn version is said too."""
    words = f"{standing.state.label}, version withdrawn" if standing.withdrawn else ""
    return marks.mark(SHAPES[standing.state], words or standing.state.label)


class CarriedTable(tables.Table):
    """One row a driver. `standings` holds where each driver of the page stands, by id."""

    asset_number = tables.Column(
        "Driver",
        linkify=lambda record: reverse("reports:device", args=[record.asset_number]),
        attrs={"a": {"class": "ident"}},
    )
    state = tables.Column("How it stands", orderable=False, empty_values=())
    carried = tables.Column("Carries", accessor="carried__version", order_by="carried__version__released_on")
    required = tables.Column("Requires", orderable=False, empty_values=())
    seen = tables.Column("Last seen", accessor="carried__seen_at", order_by="carried__seen_at")
    device_type = tables.Column("Type", accessor="device_type__model")
    home = tables.Column("Home", order_by=("home__site__name", "home__name"))

    class Meta:
        order_by = "asset_number"

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.standings: Mapping[int, Standing] = {}

    def render_state(self, record: Device) -> SafeString:
        """A shape and words."""
        return state_mark(self.standings[record.pk])

    def render_required(self, record: Device) -> str:
        """The version its home place requires."""
        return str(self.standings[record.pk].required or "—")

    def render_seen(self, record: Device) -> SafeString:
        """How long ago, and how it was seen."""
        seen_at = timezone.localtime(record.carried.seen_at)
        words = phrases.moment_ago(seen_at, timezone.localtime(clock.now()))
        return format_html('<span title="{}">{}</span>', phrases.moment(seen_at), words)

    def render_home(self, record: Device) -> SafeString:
        """The place and its site."""
        return format_html('<span>{} <span class="soft">{}</span></span>', record.home, record.home.site)


def line_points(shares: Iterable[tuple[date, float]]) -> str:
    """The points of an SVG polyline through the shares (0 at the bottom, 1 at the top), days to scale."""
    held = list(shares)
    first, last = held[0][0], held[-1][0]
    span = max(1, (last - first).days)
    return " ".join(
        f"{EDGE + (WIDTH - 2 * EDGE) * (day - first).days / span:.1f},{EDGE + (HEIGHT - 2 * EDGE) * (1 - share):.1f}"
        for day, share in held
    )
