"""The list of parts by place as a table and as rows of a CSV file, and how it is narrowed."""

from collections.abc import Iterable, Iterator
from typing import Any, Final

import django_filters
import django_tables2 as tables
from django.db.models import Q
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.people.queries import person_of
from fleet.registry.filters import PlaceFilter
from fleet.registry.queries import types
from fleet.stores.models import Shelf, ShelfQuerySet
from fleet.stores.queries import places_with_parts
from fleet.web import marks
from fleet.web.csv_out import Cell

PART_HEADER: Final = (
    "Stock number", "Name", "Maker", "Maker's number", "Kept at", "Site", "Bin", "In stock", "Expired", "At least",
    "On order", "Price of one", "Ordered in lots of", "Days to delivery",
)  # fmt: skip
_STATES: Final = {"under": "Under the minimum", "expired": "Expired"}
_NUMBER: Final = {"cell": {"class": "number"}}


def shelf_mark(shelf: Any) -> SafeString:
    """How a shelf of `shelves` stands, as a shape and words."""
    if shelf.at_hand < shelf.minimum:
        shown = marks.mark("late", "None left" if not shelf.at_hand else "Under the minimum")
    else:
        shown = marks.mark("pass", "Enough") if shelf.minimum else marks.mark("none", "No minimum")
    if shelf.expired:
        return format_html('{} <span class="block">{}</span>', shown, marks.mark("caution", f"{shelf.expired} expired"))
    return shown


class ShelfTable(tables.Table):
    """One row a part and place."""

    part = tables.Column(
        "Part",
        accessor="part__number",
        linkify=("stores:part", {"pk": tables.A("part_id")}),
        attrs={"a": {"class": "ident"}},
    )
    name = tables.Column("Name", accessor="part__name")
    place = tables.Column("Kept at", order_by=("place__site__name", "place__name"))
    bin = tables.Column("Bin", default="—")
    at_hand = tables.Column("In stock", attrs=_NUMBER)
    minimum = tables.Column("At least", attrs=_NUMBER)
    coming = tables.Column("On order", attrs=_NUMBER)
    state = tables.Column("State", accessor="short", empty_values=(), order_by=("-short", "part__name"))

    class Meta:
        empty_text = "No part is like that."

    def render_place(self, record: Shelf) -> SafeString:
        """The place, and its site below."""
        return format_html('<span>{} <span class="soft">{}</span></span>', record.place, record.place.site)

    def render_state(self, record: Shelf) -> SafeString:
        """A shape and words."""
        return format_html("<span>{}</span>", shelf_mark(record))


def _places(request: HttpRequest) -> Any:
    return places_with_parts().within(person_of(request))


def _types(_request: HttpRequest) -> Any:
    return types()


class ShelfFilter(django_filters.FilterSet):
    """Narrow the parts."""

    q = django_filters.CharFilter(label="Number or name", method="named")
    place = PlaceFilter(label="Kept at", queryset=_places, empty_label="All places")
    fits = django_filters.ModelChoiceFilter(label="Fits", queryset=_types, empty_label="Any type", method="fitting")
    state = django_filters.ChoiceFilter(
        label="State",
        choices=list(_STATES.items()),
        empty_label="Any",
        method="held",
    )

    class Meta:
        model = Shelf
        fields = ()

    def named(self, rows: ShelfQuerySet, _name: str, value: str) -> ShelfQuerySet:
        """A part of the stock number, the name or the maker's number."""
        text = value.strip()
        named = Q(part__number__icontains=text) | Q(part__name__icontains=text)
        return rows.filter(named | Q(part__maker_number__icontains=text))

    def fitting(self, rows: ShelfQuerySet, _name: str, value: Any) -> ShelfQuerySet:
        """What fits a type, or all."""
        return rows.filter(Q(part__types=value) | Q(part__types__isnull=True))

    def held(self, rows: ShelfQuerySet, _name: str, value: str) -> ShelfQuerySet:
        """Under the minimum, or with something expired."""
        return rows.filter(Q(short__gt=0) if value == "under" else Q(expired__gt=0))


def shelf_rows(rows: Iterable[Any]) -> Iterator[tuple[Cell, ...]]:
    """The rows of PART_HEADER."""
    for row in rows:
        part = row.part
        yield (
            part.number,
            part.name,
            str(part.maker or ""),
            part.maker_number,
            str(row.place),
            str(row.place.site),
            row.bin,
            row.at_hand,
            row.expired,
            row.minimum,
            row.coming,
            part.price,
            part.reorder_quantity,
            part.lead_days,
        )
