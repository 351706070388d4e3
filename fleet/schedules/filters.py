"""How the lists of dues are narrowed."""

import django_filters

from fleet.core.due import Ageing
from fleet.registry.filters import home_filter, pool_filter, site_filter, type_filter
from fleet.schedules.models import Due, DueQuerySet, Plan
from fleet.schedules.queries import late_by
from fleet.web import clock


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


class OverdueFilter(DueFilter):
    """The same, and by how late."""

    age = django_filters.ChoiceFilter(
        label="Late by",
        choices=[(ageing.value, ageing.label) for ageing in Ageing],
        empty_label="Any time",
        method="by_age",
    )

    def by_age(self, rows: DueQuerySet, _name: str, value: str) -> DueQuerySet:
        """Only the dues of one group of lateness."""
        return late_by(rows, Ageing(value), clock.today())
