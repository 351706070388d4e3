"""Filters by place, type and pool that lists of every room share. `device` is the lookup of the driver, if any."""

from datetime import timedelta
from typing import Any, Final

import django_filters
from django.db.models import Q
from django.http import HttpRequest

from fleet.core.lifecycle import Condition
from fleet.people.queries import person_of
from fleet.registry.models import Device, DeviceQuerySet, Place
from fleet.registry.queries import OWN_VALUES, open_places, types
from fleet.web import clock

_MARKED: Final = {"late": Q(late_since__isnull=False), "quarantined": Q(quarantined=True), "own": OWN_VALUES}


class _PlaceField(django_filters.fields.ModelChoiceField):
    """A place with its site beside it, since each site has a Ward 4."""

    def label_from_instance(self, obj: Place) -> str:
        """The place, then its site."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else str(obj)


class PlaceFilter(django_filters.ModelChoiceFilter):
    """Narrow by a place, told apart by its site."""

    field_class = _PlaceField


def _places(request: HttpRequest) -> Any:
    return open_places().within(person_of(request))


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


class DeviceFilter(django_filters.FilterSet):
    """Narrow the register's drivers."""

    number = django_filters.CharFilter(label="Asset or serial", method="by_number")
    condition = django_filters.ChoiceFilter(
        label="Condition",
        choices=[(condition.value, condition.label) for condition in Condition],
        empty_label="All conditions",
    )
    home = PlaceFilter(label="Home", queryset=_places, method="by_home", empty_label="All places")
    type = type_filter("")
    pool = pool_filter("")
    owner = django_filters.ChoiceFilter(label="Owner", choices=Device.Owner.choices, empty_label="Whoever owns it")
    marked = django_filters.ChoiceFilter(
        label="Only",
        choices=[("late", "Late"), ("quarantined", "In quarantine"), ("own", "With values of their own")],
        method="by_mark",
        empty_label="All",
    )
    seen = django_filters.ChoiceFilter(
        label="Last seen",
        choices=[("never", "Never"), *((str(days), f"Not for {days} days") for days in (7, 30, 90, 365))],
        method="by_sighting",
        empty_label="Any time",
    )

    class Meta:
        model = Device
        fields = ()

    def by_number(self, rows: DeviceQuerySet, _name: str, value: str) -> DeviceQuerySet:
        """A part of the asset or the serial number."""
        text = value.strip()
        return rows.filter(Q(asset_number__icontains=text) | Q(serial_number__icontains=text))

    def by_home(self, rows: DeviceQuerySet, _name: str, value: Place) -> DeviceQuerySet:
        """The drivers whose home is the place or lies in it."""
        return rows.filter(home__path__startswith=value.path)

    def by_mark(self, rows: DeviceQuerySet, _name: str, value: str) -> DeviceQuerySet:
        """Late, in quarantine, or with an override."""
        return rows.filter(_MARKED[value])

    def by_sighting(self, rows: DeviceQuerySet, _name: str, value: str) -> DeviceQuerySet:
        """Never seen, or not within so many days (which includes those never seen)."""
        unseen = Q(last_seen_at__isnull=True)
        if value != "never":
            unseen |= Q(last_seen_at__lt=clock.now() - timedelta(days=int(value)))
        return rows.filter(unseen)
