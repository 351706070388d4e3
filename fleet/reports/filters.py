"""How the trail is searched."""

from typing import Any

import django_filters
from django.db.models import Q, QuerySet

from fleet.audit.actors import Source
from fleet.audit.models import TrailEntry
from fleet.registry.models import Device

#: The kinds of record somebody looks for, by the trail's own names for them.
RECORDS = [
    ("device", "Driver"), ("tag", "Tag"), ("quarantine", "Quarantine"), ("order", "Order"), ("due", "Due"),
    ("alert", "Alert"), ("pack", "Pack"), ("runtimetest", "Runtime test"), ("carried", "Library of a driver"),
    ("libraryversion", "Library version"), ("requirement", "Library requirement"), ("plan", "Plan"),
    ("procedureversion", "Procedure"), ("devicetype", "Type"), ("place", "Place"), ("person", "Person"), ("job", "Job"),
]  # fmt: skip


def _dates() -> Any:
    return django_filters.widgets.RangeWidget(attrs={"type": "date"})


class TrailFilter(django_filters.FilterSet):
    """Narrow the trail by who, what, which record, when and by which door."""

    who = django_filters.CharFilter(label="Who", field_name="actor", lookup_expr="icontains")
    what = django_filters.CharFilter(label="What was done", field_name="verb", lookup_expr="icontains")
    record = django_filters.CharFilter(label="Driver, tag, order …", method="by_record")
    kind = django_filters.ChoiceFilter(
        label="Kind of record", field_name="subject_kind", choices=RECORDS, empty_label="All kinds"
    )
    done = django_filters.DateFromToRangeFilter(field_name="done_at", label="Done from, to", widget=_dates())
    source = django_filters.ChoiceFilter(
        label="By way of", choices=[(source.value, source.value) for source in Source], empty_label="Any way"
    )
    late = django_filters.ChoiceFilter(label="Entered", choices=[(True, "Late only")], empty_label="At any time")

    class Meta:
        model = TrailEntry
        fields = ("who", "what", "record", "kind", "done", "source", "late")

    def by_record(self, rows: QuerySet[TrailEntry], _name: str, value: str) -> QuerySet[TrailEntry]:
        """Entries whose record's name begins so, a tag's with or without its hyphen; all of a driver by its number."""
        text = value.strip()
        named = Q(subject_name__istartswith=text) | Q(subject_name__istartswith=text.replace("-", ""))
        drivers = Device.objects.filter(asset_number__iexact=text).values("pk")
        return rows.filter(named | Q(device_ref__in=drivers))
