"""Filters by place, type and pool that lists of every room share. `device` is the lookup of the driver, if any."""

from typing import Any

import django_filters
from django.http import HttpRequest

from fleet.registry.models import Device, Place
from fleet.registry.queries import open_places, types


class _PlaceField(django_filters.fields.ModelChoiceField):
    """A place with its site beside it, since each site has a Ward 4."""

    def label_from_instance(self, obj: Place) -> str:
        """The place, then its site."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else str(obj)


class PlaceFilter(django_filters.ModelChoiceFilter):
    """Narrow by a place, told apart by its site."""

    field_class = _PlaceField


def _places(request: HttpRequest) -> Any:
    return open_places().within(request.user)  # type: ignore[attr-defined]


def _sites(request: HttpRequest) -> Any:
    return Place.objects.filter(pk__in=_places(request).order_by().values("site"))


def _types(_request: HttpRequest) -> Any:
    return types()


def site_filter(device: str = "device__") -> Any:
    """By the site of the home place, among those the reader has a place in."""
    return django_filters.ModelChoiceFilter(
        label="Site", field_name=f"{device}home__site", queryset=_sites, empty_label="All sites"
    )


def home_filter(device: str = "device__") -> Any:
    """By the home place itself, among the reader's."""
    return PlaceFilter(label="Home", field_name=f"{device}home", queryset=_places, empty_label="All places")


def type_filter(device: str = "device__") -> Any:
    """By device type."""
    return django_filters.ModelChoiceFilter(
        label="Type", field_name=f"{device}device_type", queryset=_types, empty_label="All types"
    )


def pool_filter(device: str = "device__") -> Any:
    """By how the driver is used."""
    return django_filters.ChoiceFilter(
        label="Pool", field_name=f"{device}pool", choices=Device.Pool.choices, empty_label="All pools"
    )
