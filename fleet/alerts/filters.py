"""How the list of alerts is narrowed."""

from typing import Any

import django_filters
from django.http import HttpRequest

from fleet.alerts.models import Alert
from fleet.alerts.queries import kinds
from fleet.registry.filters import home_filter, site_filter, type_filter


def _kinds(_request: HttpRequest) -> Any:
    return kinds()


class AlertFilter(django_filters.FilterSet):
    """Narrow open alerts by kind, place and type."""

    kind = django_filters.ModelChoiceFilter(label="Alert", queryset=_kinds, empty_label="All kinds")
    battery = django_filters.ChoiceFilter(
        label="About", field_name="kind__about_battery", choices=[(True, "The battery")], empty_label="Anything"
    )
    site = site_filter()
    home = home_filter()
    type = type_filter()

    class Meta:
        model = Alert
        fields = ("kind",)
