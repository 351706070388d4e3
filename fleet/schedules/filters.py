"""How the lists of dues are narrowed."""

from typing import Any

import django_filters
from django.http import HttpRequest

from fleet.core.due import Ageing
from fleet.registry.models import Device, Place
from fleet.registry.queries import open_places, types
from fleet.schedules.models import Due, DueQuerySet, Plan
from fleet.schedules.queries import late_by
from fleet.web import clock


def _sites(request: HttpRequest) -> Any:
    return Place.objects.filter(pk__in=_places(request).values("site"))


def _places(request: HttpRequest) -> Any:
    return open_places().within(request.user)  # type: ignore[attr-defined]


def _types(_request: HttpRequest) -> Any:
    return types()


class PlaceChoice(django_filters.fields.ModelChoiceField):
    """A place with its site beside it, since each site has a Ward 4."""

    def label_from_instance(self, obj: Place) -> str:
        """The place, then its site."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else str(obj)


class PlaceFilter(django_filters.ModelChoiceFilter):
    """Narrow by a place, told apart by its site."""

    field_class = PlaceChoice


class DueFilter(django_filters.FilterSet):
    """Narrow dues by where, what and how the driver is used."""

    site = django_filters.ModelChoiceFilter(
        label="Site", field_name="device__home__site", queryset=_sites, empty_label="All sites"
    )
    home = PlaceFilter(label="Home", field_name="device__home", queryset=_places, empty_label="All places")
    type = django_filters.ModelChoiceFilter(
        label="Type", field_name="device__device_type", queryset=_types, empty_label="All types"
    )
    pool = django_filters.ChoiceFilter(
        label="Pool", field_name="device__pool", choices=Device.Pool.choices, empty_label="All pools"
    )
    kind = django_filters.ChoiceFilter(
        label="Work", field_name="plan__kind", choices=Plan.Kind.choices, empty_label="All work"
    )

    class Meta:
        model = Due
        fields = ()


class OverdueFilter(DueFilter):
    """The same, and by how late."""

    age = django_filters.ChoiceFilter(
        label="Late by",
        choices=[(group.value, group.label) for group in Ageing],
        empty_label="Any time",
        method="by_age",
    )

    def by_age(self, rows: DueQuerySet, _name: str, value: str) -> DueQuerySet:
        """Only the dues of one group of lateness."""
        return late_by(rows, Ageing(value), clock.today())
