"""How the list of drivers with their library version is narrowed."""

from typing import Any

import django_filters
from django.http import HttpRequest

from fleet.libraries.models import LibraryVersion
from fleet.libraries.queries import State, in_state, withdrawn
from fleet.registry.filters import home_filter, site_filter, type_filter
from fleet.registry.models import Device, DeviceQuerySet
from fleet.web import clock

#: Beside the states: drivers whose version has been withdrawn, whatever their state.
WITHDRAWN = "withdrawn"


def _versions(_request: HttpRequest) -> Any:
    return LibraryVersion.objects.select_related("library")


class CarriedFilter(django_filters.FilterSet):
    """Narrow drivers by place, type and the version they were last seen with."""

    state = django_filters.ChoiceFilter(
        label="How it stands",
        choices=[*((state.value, state.label) for state in State), (WITHDRAWN, "Version withdrawn")],
        empty_label="In any way",
        method="by_state",
    )
    site = site_filter("")
    home = home_filter("")
    type = type_filter("")
    version = django_filters.ModelChoiceFilter(
        label="Carries", field_name="carried__version", queryset=_versions, empty_label="Any version"
    )

    class Meta:
        model = Device
        fields = ()

    def by_state(self, rows: DeviceQuerySet, _name: str, value: str) -> DeviceQuerySet:
        """Only the drivers behind one number of the coverage page."""
        return withdrawn(rows) if value == WITHDRAWN else in_state(rows, State(value), clock.today())
