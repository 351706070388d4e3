"""Batteries as tables, and as rows of a CSV file."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

import django_tables2 as tables
from django.conf import settings
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.batteries import policy_wording, wording
from fleet.batteries.models import Fitting, Forecast, Pack
from fleet.batteries.queries import reason_of
from fleet.registry.models import Device
from fleet.web import clock, marks, phrases
from fleet.web.csv_out import Cell

_NUMBER: Final = {"cell": {"class": "number"}}
_HOME_ORDER: Final = ("device__home__site__name", "device__home__name")
DEVICE_HEADER: Final = ("Asset", "Serial", "Type", "Pool", "Site", "Home")
FORECAST_HEADER: Final = (
    *DEVICE_HEADER, "Pack", "Made at", "Basis", "Why no number", "Tests", "Fraction today", "Level", "Already below",
    "Crossing on", "80 % from", "80 % to", "Next visit", "Chance before visit",
)  # fmt: skip
ADVISED_HEADER: Final = (
    *FORECAST_HEADER, "Visit after it", "Chance before the visit after it", "Limit", "Advice", "Reason",
)  # fmt: skip
FITTING_HEADER: Final = (*DEVICE_HEADER, "Pack", "Fitted on", "Day of fitting known")
PACK_HEADER: Final = (
    "Pack", "State", "For", "Maker", "Part number", "Chemistry", "Date code", "Made on", "In driver", "Tests",
    "Last test", "Scrapped on", "Scrapped because",
)  # fmt: skip


def _home(device: Device) -> SafeString:
    return format_html('<span>{} <span class="soft">{}</span></span>', device.home, device.home.site)


def _pack_link(pack: Pack) -> SafeString:
    return format_html('<a class="ident" href="{}">{}</a>', reverse("batteries:pack", args=[pack.number]), pack.number)


def _log_link(device: Device) -> SafeString:
    address = f"{reverse('batteries:log')}?device={device.asset_number}"
    return format_html('<a href="{}">Log a test</a>', address)


class _DeviceTable(tables.Table):
    """A driver first, then where it belongs."""

    asset = tables.Column(
        "Driver",
        accessor="device__asset_number",
        linkify=lambda record: reverse("reports:device", args=[record.device.asset_number]),
        attrs={"a": {"class": "ident"}},
    )
    type = tables.Column("Type", accessor="device__device_type", order_by="device__device_type__model")
    home = tables.Column("Home", accessor="device__home", order_by=_HOME_ORDER)

    def render_home(self, record: Forecast | Fitting) -> SafeString:
        """The place, and its site below."""
        return _home(record.device)


class OutlookTable(_DeviceTable):
    """One row a forecast, with the chance of not lasting."""

    chance = tables.Column("Chance", accessor="chance_before_visit", attrs=_NUMBER)
    next_visit = tables.Column("Next visit")
    crossing_on = tables.Column("Under its level (8 in 10 between)")
    fraction_today = tables.Column("Today", attrs=_NUMBER)
    basis = tables.Column("Rests on", orderable=False)
    pack = tables.Column("Pack", accessor="pack__number")

    class Meta:
        sequence = ("asset", "chance", "next_visit", "crossing_on", "fraction_today", "basis", "pack", "type", "home")

    def render_chance(self, value: float) -> str:
        """A share of ten."""
        return wording.chance_words(value)

    def render_next_visit(self, value: date) -> SafeString | str:
        """The day, marked when it has passed."""
        return marks.mark("late", phrases.day(value)) if value < clock.today() else phrases.day(value)

    def render_crossing_on(self, record: Forecast) -> SafeString | str:
        """The day, and its interval quieter below."""
        if record.crossing_on is None:
            return wording.crossing(record)
        interval = wording.crossing_interval(record)
        day = phrases.day(record.crossing_on)
        return format_html('<span>{} <span class="hint block">{}</span></span>', day, interval)

    def render_fraction_today(self, value: float) -> str:
        """A percentage of the rated runtime."""
        return phrases.percent(value, 0)

    def render_basis(self, record: Forecast) -> str:
        """What the forecast rests on."""
        if record.basis == Forecast.Basis.OWN_TESTS:
            return f"{record.tests_used} own test{'' if record.tests_used == 1 else 's'}"
        return "its type only"

    def render_pack(self, record: Forecast) -> SafeString:
        """The pack's page."""
        return _pack_link(record.pack)


class BelowTable(OutlookTable):
    """One row a pack below its level: no chance of what has happened, but what says so."""

    last_test_below = tables.Column("Below by")

    class Meta:
        exclude = ("chance", "crossing_on")
        sequence = ("asset", "last_test_below", "fraction_today", "next_visit", "basis", "pack", "type", "home")

    def render_last_test_below(self, *, value: bool) -> str:
        """A test, or only the forecast."""
        return "its latest test" if value else "what is expected of it"


class AdvisedTable(OutlookTable):
    """One row a pack to take out, with the advice and its reason in words (rows as `with_reasons` gives them)."""

    advice = tables.Column("Advice, and why", orderable=False)

    class Meta:
        exclude = ("chance", "crossing_on")
        sequence = ("asset", "advice", "next_visit", "fraction_today", "basis", "pack", "type", "home")

    def render_advice(self, record: Forecast) -> SafeString | str:
        """The advice beside its shape, and the reason below."""
        found = reason_of(record)
        if found is None:
            return ""
        shown = marks.mark(found.mark, found.advice.label)
        return format_html('<span>{} <span class="hint block">{}</span></span>', shown, found.reason)


class NoVisitTable(OutlookTable):
    """One row a forecast without a visit to give a chance for."""

    class Meta:
        exclude = ("chance", "next_visit")
        sequence = ("asset", "crossing_on", "fraction_today", "basis", "pack", "type", "home")


class NoNumberTable(_DeviceTable):
    """One row a pack of a type of which too little is known."""

    pack = tables.Column("Pack", accessor="pack__number")
    tests_used = tables.Column("Full tests", attrs=_NUMBER)
    act = tables.Column("", orderable=False, empty_values=(), attrs={"cell": {"class": "screen-only"}})

    class Meta:
        sequence = ("asset", "type", "home", "pack", "tests_used", "act")

    def render_pack(self, record: Forecast) -> SafeString:
        """The pack's page."""
        return _pack_link(record.pack)

    def render_act(self, record: Forecast) -> SafeString:
        """What helps: a test."""
        return _log_link(record.device)


class NeverTestedTable(_DeviceTable):
    """One row a pack in service without a test."""

    pack = tables.Column("Pack", accessor="pack__number")
    fitted_on = tables.Column("Fitted")
    act = tables.Column("", orderable=False, empty_values=(), attrs={"cell": {"class": "screen-only"}})

    class Meta:
        sequence = ("asset", "fitted_on", "pack", "type", "home", "act")

    def render_pack(self, record: Fitting) -> SafeString:
        """The pack's page."""
        return _pack_link(record.pack)

    def render_fitted_on(self, record: Fitting) -> str:
        """The day, and how long ago."""
        words = f"{phrases.day(record.fitted_on)}, {phrases.ago(record.fitted_on, clock.today())}"
        return words if record.fitted_on_known else f"by {words}"

    def render_act(self, record: Fitting) -> SafeString:
        """What helps: a test."""
        return _log_link(record.device)


class NoPackTable(tables.Table):
    """One row a driver of which no pack is on record."""

    asset_number = tables.Column(
        "Driver", linkify=lambda record: reverse("reports:device", args=[record.asset_number]),
        attrs={"a": {"class": "ident"}},
    )  # fmt: skip
    device_type = tables.Column("Type", order_by="device_type__model")
    home = tables.Column("Home", order_by=("home__site__name", "home__name"))
    act = tables.Column("", orderable=False, empty_values=(), attrs={"cell": {"class": "screen-only"}})

    def render_home(self, record: Device) -> SafeString:
        """The place, and its site below."""
        return _home(record)

    def render_act(self, record: Device) -> SafeString:
        """What helps: its pack on record."""
        address = reverse("batteries:device_pack", args=[record.asset_number])
        return format_html('<a href="{}">Record its pack</a>', address)


class PackTable(tables.Table):
    """One row a pack."""

    number = tables.Column("Pack")
    state = tables.Column("State")
    holder = tables.Column("In driver", default="—")
    for_type = tables.Column("For", order_by="for_type__model")
    chemistry = tables.Column("Chemistry")
    since = tables.Column("Age", default="not known", attrs=_NUMBER)
    tests_made = tables.Column("Tests", attrs=_NUMBER)
    last_test = tables.Column("Last test", default="never")

    class Meta:
        order_by = "number"
        empty_text = "No pack fits this."

    def render_number(self, record: Pack) -> SafeString:
        """The pack's page."""
        return _pack_link(record)

    def render_holder(self, value: str) -> SafeString:
        """The driver's page."""
        return format_html('<a class="ident" href="{}">{}</a>', reverse("reports:device", args=[value]), value)

    def render_since(self, value: date) -> str:
        """Years, from the day it was made or first fitted."""
        return wording.years(value, clock.today())

    def render_last_test(self, value: datetime) -> str:
        """The day."""
        return phrases.day(clock.local_day(value))


def _device_cells(device: Device) -> tuple[Cell, ...]:
    return (
        device.asset_number,
        device.serial_number,
        str(device.device_type),
        device.get_pool_display(),
        str(device.home.site),
        str(device.home),
    )


def forecast_rows(forecasts: Iterable[Forecast]) -> Iterator[tuple[Cell, ...]]:
    """The rows of FORECAST_HEADER."""
    for row in forecasts:
        yield (
            *_device_cells(row.device),
            row.pack.number,
            row.made_at.isoformat(timespec="minutes"),
            row.get_basis_display(),
            row.why_not,
            row.tests_used,
            _rounded(row.fraction_today),
            row.level,
            "yes" if row.already_below else "no",
            row.crossing_on,
            row.crossing_early,
            row.crossing_late,
            row.next_visit,
            _rounded(row.chance_before_visit),
        )


def advised_rows(forecasts: Iterable[Forecast]) -> Iterator[tuple[Cell, ...]]:
    """The rows of ADVISED_HEADER, for rows as `with_reasons` gives them."""
    for row in forecasts:
        found = reason_of(row)
        (cells,) = forecast_rows([row])
        yield (
            *cells,
            row.following_visit,
            _rounded(row.chance_before_following),
            row.limit,
            found.advice.label if found else "",
            found.reason if found else "",
        )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def fitting_rows(fittings: Iterable[Fitting]) -> Iterator[tuple[Cell, ...]]:
    """The rows of FITTING_HEADER."""
    for row in fittings:
        known = "yes" if row.fitted_on_known else "no"
        yield (*_device_cells(row.device), row.pack.number, row.fitted_on, known)


def device_rows(devices: Iterable[Device]) -> Iterator[tuple[Cell, ...]]:
    """The rows of DEVICE_HEADER."""
    return map(_device_cells, devices)


def pack_rows(packs: Iterable[Any]) -> Iterator[tuple[Cell, ...]]:
    """The rows of PACK_HEADER, for packs as `queries.packs` gives them."""
    for row in packs:
        yield (
            row.number,
            row.get_state_display(),
            str(row.for_type),
            str(row.maker),
            row.part_number,
            row.chemistry,
            row.date_code,
            row.made_on,
            row.holder,
            row.tests_made,
            clock.local_day(row.last_test) if row.last_test else None,
            row.scrapped_on,
            row.scrapped_why,
        )


class TypeTable(tables.Table):
    """One row a type of pack (`queries.TypeRow`)."""

    name = tables.Column("Type", linkify=lambda record: f"{reverse('batteries:fleet')}?type={record.device_type.pk}")
    hours = tables.Column("New pack runs", default=phrases.NOT_KNOWN, attrs=_NUMBER)
    fade = tables.Column("Lost in its first year", default=phrases.NOT_KNOWN, attrs=_NUMBER)
    middle = tables.Column("Half replaced after", default=phrases.NOT_KNOWN, attrs=_NUMBER)
    price = tables.Column("A pack", default=phrases.NOT_KNOWN, attrs=_NUMBER)
    per_year = tables.Column("A year", default=phrases.NOT_KNOWN, attrs=_NUMBER)
    fitted = tables.Column("Fitted", attrs=_NUMBER)
    rests_on = tables.Column("Rests on", order_by=("tested", "tests"))

    class Meta:
        empty_text = "No type of driver has a fitted pack."

    def render_hours(self, record: Any) -> SafeString:
        """Hours at the reference rate, which stands below."""
        rate = phrases.quantity(record.device_type.reference_rate, "mL/h")
        return format_html(
            '<span>{} <span class="hint block">at {}</span></span>', phrases.quantity(record.hours, "h"), rate
        )

    def render_fade(self, value: float) -> str:
        """A share of the rated runtime."""
        return phrases.percent(value)

    def render_middle(self, record: Any) -> SafeString:
        """Years, and the 8-in-10 range below."""
        return format_html(
            '<span>{} <span class="hint block">8 in 10: {}</span></span>',
            f"{record.middle:.1f}{phrases.NO_BREAK}years",
            policy_wording.years_range(record.low, record.high),
        )

    def render_price(self, value: Decimal) -> str:
        """In the hospital's currency."""
        return f"{value:.2f}{phrases.NO_BREAK}{settings.CURRENCY}"

    def render_per_year(self, value: float) -> str:
        """The same."""
        return f"{value:.2f}{phrases.NO_BREAK}{settings.CURRENCY}"

    def render_rests_on(self, record: Any) -> SafeString | str:
        """In words, marked where it is assumed."""
        return marks.mark("caution", record.rests_on.capitalize()) if record.is_assumed else record.rests_on
