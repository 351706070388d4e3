"""How the lists of dues are narrowed."""

import django_filters
from django import forms

from fleet.core.due import Ageing
from fleet.registry.filters import home_filter, pool_filter, site_filter, type_filter
from fleet.registry.models import Device
from fleet.schedules.models import Due, DueQuerySet, Plan
from fleet.schedules.queries import late_by
from fleet.web import clock


class DriverFilter(django_filters.FilterSet):
    """Narrow drivers by where they belong and what they are."""

    site = site_filter("")
    home = home_filter("")
    type = type_filter("")

    class Meta:
        model = Device
        fields = ()


class DueFilter(django_filters.FilterSet):
    """Narrow dues by where, what and how the driver is used."""

    site = site_filter()
    home = home_filter()
    type = type_filter()
    pool = pool_filter()
    kind = django_filters.ChoiceFilter(
        label="Work", field_name="plan__kind", choices=Plan.Kind.choices, empty_label="All work"
    )

    class Meta:
        model = Due
        fields = ()


def _kept(rows: DueQuerySet, _name: str, _value: str) -> DueQuerySet:
    """Narrow nothing: the page's own choice, sent along so that narrowing does not undo it."""
    return rows


def _own_choice() -> django_filters.CharFilter:
    return django_filters.CharFilter(widget=forms.HiddenInput, method=_kept)


class ComingFilter(DueFilter):
    """The same, staying in the month that is shown."""

    month = _own_choice()


class OverdueFilter(DueFilter):
    """The same, and by how late; the rows stay grouped as they are."""

    by = _own_choice()
    age = django_filters.ChoiceFilter(
        label="Late by",
        choices=[(ageing.value, ageing.label) for ageing in Ageing],
        empty_label="Any time",
        method="by_age",
    )

    def by_age(self, rows: DueQuerySet, _name: str, value: str) -> DueQuerySet:
        """Only the dues of one group of lateness."""
        return late_by(rows, Ageing(value), clock.today())
