"""People as a table, and how to narrow it."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

import django_filters
import django_tables2 as tables
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.people.models import AccessEntry, Person
from fleet.people.queries import role_of
from fleet.people.roles import Role
from fleet.web import marks, phrases
from fleet.web.csv_out import Cell

_FEW = 3
ACCESS_HEADER = ("At", "What", "Sign-in name", "Name", "From", "Page", "Browser")


def places_words(person: Person) -> str:
    """`All places`, the names of a few, or the first and how many more."""
    if person.everywhere:
        return "All places"
    names = [place.name for place in person.places.all()]
    more = len(names) - _FEW
    return (", ".join(names[:_FEW]) or "None") + (f" and {more} more" if more > 0 else "")


class PersonTable(tables.Table):
    """One row a person."""

    display_name = tables.Column("Name", linkify=("people:person", {"pk": tables.A("pk")}))
    username = tables.Column("Sign-in name")
    role = tables.Column("Role", accessor="pk", orderable=False)
    places = tables.Column("Sees", accessor="pk", orderable=False)
    is_active = tables.Column("May sign in", orderable=False)
    has_factor = tables.Column("Second factor", orderable=False)
    last_login = tables.Column("Last signed in", empty_values=())

    class Meta:
        order_by = "display_name"
        empty_text = "Nobody fits this."

    def render_username(self, value: str) -> SafeString:
        """In the face of identifiers."""
        return format_html('<span class="ident">{}</span>', value)

    def render_role(self, record: Person) -> str:
        """The role in words."""
        role = role_of(record)
        return role.label if role else "None"

    def render_places(self, record: Person) -> str:
        """Where the person sees drivers."""
        return places_words(record)

    def render_is_active(self, value: Any) -> SafeString:
        """A shape and a word."""
        return marks.mark("pass", "Yes") if value else marks.mark("none", "No")

    def render_has_factor(self, value: Any) -> SafeString:
        """The same."""
        return marks.mark("pass", "On") if value else marks.mark("none", "Off")

    def render_last_login(self, value: datetime | None) -> str:
        """The local time."""
        return phrases.moment(timezone.localtime(value)) if value else "Never"


class PersonFilter(django_filters.FilterSet):
    """Narrow people by name, role and whether they may sign in."""

    name = django_filters.CharFilter(label="Name", method="by_name")
    role = django_filters.ChoiceFilter(
        label="Role",
        field_name="groups__name",
        choices=[(role.value, role.label) for role in Role],
        empty_label="All roles",
    )
    active = django_filters.ChoiceFilter(
        label="May sign in",
        field_name="is_active",
        choices=[("True", "Yes"), ("False", "No")],
        empty_label="Yes or no",
    )

    class Meta:
        model = Person
        fields = ()

    def by_name(self, rows: QuerySet[Person], _field: str, value: str) -> QuerySet[Person]:
        """A part of the name shown or of the sign-in name."""
        return rows.filter(Q(display_name__icontains=value) | Q(username__icontains=value))


class AccessTable(tables.Table):
    """One row a line of the log."""

    at = tables.Column("When", order_by="id")
    kind = tables.Column("What", orderable=False)
    person = tables.Column("Who", orderable=False, default="nobody of that name")
    address = tables.Column("From", orderable=False, default="not known")
    path = tables.Column("Page", orderable=False)
    browser = tables.Column("Browser", orderable=False, default="not told")

    class Meta:
        order_by = "-at"
        empty_text = "Nothing like that is on record."

    def render_at(self, value: datetime) -> str:
        """The local time."""
        return phrases.moment(timezone.localtime(value))

    def render_person(self, value: Person) -> SafeString:
        """The name, and the name signed in with."""
        return format_html('<span>{} <span class="ident">{}</span></span>', value, value.username)

    def render_address(self, value: str) -> SafeString:
        """In the face of identifiers."""
        return format_html('<span class="ident">{}</span>', value)

    def render_browser(self, value: str) -> SafeString:
        """As it calls itself."""
        return format_html('<span class="hint">{}</span>', value)


class AccessFilter(django_filters.FilterSet):
    """Narrow the log by who, from where, which page, what and when."""

    q = django_filters.CharFilter(label="Name, address or page", method="by_words")
    kind = django_filters.ChoiceFilter(label="What", choices=AccessEntry.Kind.choices, empty_label="All")
    at = django_filters.DateFromToRangeFilter(
        label="Day from, to", widget=django_filters.widgets.RangeWidget(attrs={"type": "date"})
    )

    class Meta:
        model = AccessEntry
        fields = ()

    def by_words(self, rows: QuerySet[AccessEntry], _field: str, value: str) -> QuerySet[AccessEntry]:
        """A part of the name, the sign-in name, the address or the page."""
        who = Q(person__display_name__icontains=value) | Q(person__username__icontains=value)
        return rows.filter(who | Q(address__icontains=value) | Q(path__icontains=value))


def access_rows(entries: Iterable[AccessEntry]) -> Iterator[tuple[Cell, ...]]:
    """The rows of ACCESS_HEADER."""
    for entry in entries:
        person = entry.person
        yield (
            timezone.localtime(entry.at).isoformat(sep=" ", timespec="seconds"),
            str(entry.get_kind_display()),
            person.username if person else "",
            str(person or ""),
            entry.address,
            entry.path,
            entry.browser,
        )
