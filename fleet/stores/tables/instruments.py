"""The list of instruments as a table and as rows of a CSV file, and how it is narrowed."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any, Final

import django_filters
import django_tables2 as tables
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.core.calibration import DueState
from fleet.people.queries import person_of
from fleet.registry.filters import PlaceFilter
from fleet.registry.models import Place
from fleet.stores.models import Instrument, InstrumentQuerySet
from fleet.stores.queries import in_state, state_of
from fleet.web import clock, marks, phrases
from fleet.web.csv_out import Cell

CSV_HEADER: Final = (
    "Number", "Name", "Kind", "Maker", "Model", "Serial", "Kept at", "Site", "Uncertainty", "Unit", "Coverage factor",
    "Every months", "Calibrated on", "Next due", "State", "Withdrawn on", "Withdrawn why",
)  # fmt: skip
_SHAPES: Final = {
    DueState.IN_DATE: "pass",
    DueState.SOON: "due",
    DueState.OVERDUE: "late",
    DueState.NEVER: "late",
    DueState.UNUSABLE: "fail",
    DueState.WITHDRAWN: "none",
}


def state_mark(state: DueState) -> SafeString:
    """The state as a shape and words."""
    return marks.mark(_SHAPES[state], state.label)


class InstrumentTable(tables.Table):
    """One row an instrument, the first due first."""

    number = tables.Column(
        "Number", linkify=("stores:instrument", {"pk": tables.A("pk")}), attrs={"a": {"class": "ident"}}
    )
    name = tables.Column("Name")
    kind = tables.Column("Kind")
    state = tables.Column("Calibration", accessor="last_due", empty_values=(), order_by=("last_due", "number"))
    last_due = tables.Column("Next due", default="—")
    last_done = tables.Column("Last calibrated", default="—")
    place = tables.Column("Kept at", order_by=("place__site__name", "place__name"))

    class Meta:
        order_by = "last_due"
        empty_text = "No instrument is like that."

    def render_state(self, record: Instrument) -> SafeString:
        """A shape and words."""
        return state_mark(state_of(record, clock.today()))

    def render_last_due(self, value: date) -> str:
        """The day in words."""
        return phrases.day(value)

    def render_last_done(self, value: date) -> str:
        """The day in words."""
        return phrases.day(value)

    def render_place(self, record: Instrument) -> SafeString:
        """The place, and its site below."""
        return format_html('<span>{} <span class="soft">{}</span></span>', record.place, record.place.site)


def _places(request: HttpRequest) -> Any:
    kept = Instrument.objects.within(person_of(request)).order_by().values("place")
    return Place.objects.filter(pk__in=kept).select_related("site").order_by("site__name", "name")


class InstrumentFilter(django_filters.FilterSet):
    """Narrow the instruments."""

    q = django_filters.CharFilter(label="Number or name", method="named")
    place = PlaceFilter(label="Kept at", queryset=_places, empty_label="All places")
    kind = django_filters.ChoiceFilter(label="Kind", choices=Instrument.Kind.choices, empty_label="All kinds")
    state = django_filters.ChoiceFilter(
        label="Calibration",
        choices=[(state.value, state.label) for state in DueState],
        empty_label="Any",
        method="by_state",
    )

    class Meta:
        model = Instrument
        fields = ()

    def named(self, rows: InstrumentQuerySet, _name: str, value: str) -> InstrumentQuerySet:
        """A part of the number, the name or the serial number."""
        text = value.strip()
        return (
            rows.filter(number__icontains=text)
            | rows.filter(name__icontains=text)
            | rows.filter(serial_number__icontains=text)
        )

    def by_state(self, rows: InstrumentQuerySet, _name: str, value: str) -> InstrumentQuerySet:
        """As its calibration stands today."""
        return in_state(rows, DueState(value), clock.today())


def csv_rows(rows: Iterable[Instrument]) -> Iterator[tuple[Cell, ...]]:
    """The rows of CSV_HEADER."""
    today = clock.today()
    for row in rows:
        yield (
            row.number,
            row.name,
            row.get_kind_display(),
            str(row.maker or ""),
            row.model,
            row.serial_number,
            str(row.place),
            str(row.place.site),
            row.uncertainty,
            row.uncertainty_unit,
            row.coverage_factor,
            row.every_months,
            row.last_done,  # type: ignore[attr-defined] # annotated by `instruments`
            row.last_due,  # type: ignore[attr-defined] # the same
            state_of(row, today).label,
            row.withdrawn_on,
            row.withdrawn_why,
        )
