"""The list of orders as a table, and how it is narrowed."""

from datetime import date, datetime, timedelta

import django_filters
import django_tables2 as tables
from django import forms
from django.db.models import Q
from django.utils import timezone

from fleet.bench.models import Order, OrderKind, OrderQuerySet
from fleet.bench.queries import day_begins
from fleet.core.orders import ABSENT_OUTCOMES, OrderState, Outcome
from fleet.registry.filters import home_filter, site_filter, type_filter
from fleet.schedules.models import Plan
from fleet.web import phrases


class OrderTable(tables.Table):
    """One row an order, the last raised first."""

    number = tables.Column("Order", linkify=("bench:order", {"number": tables.A("number")}), order_by="id")
    device = tables.Column("Driver", accessor="device__asset_number", attrs={"cell": {"class": "ident"}})
    type = tables.Column("Type", accessor="device__device_type", orderable=False)
    home = tables.Column("Home", accessor="device__home", orderable=False)
    kind = tables.Column("Here for", orderable=False)
    state = tables.Column("State", orderable=False)
    raised_at = tables.Column("Raised")
    completed_at = tables.Column("Completed")
    outcome = tables.Column("Outcome", orderable=False)
    assigned_to = tables.Column("Whose", orderable=False, default="Nobody's")

    class Meta:
        order_by = "-raised_at"
        empty_text = "No order is like that."

    def render_raised_at(self, value: datetime) -> str:
        """The local day."""
        return phrases.day(timezone.localtime(value))

    def render_completed_at(self, value: datetime) -> str:
        """The local day."""
        return phrases.day(timezone.localtime(value))


def _day_input() -> forms.DateInput:
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class OrderFilter(django_filters.FilterSet):
    """Narrow the orders."""

    q = django_filters.CharFilter(label="Order or driver", method="named")
    state = django_filters.ChoiceFilter(
        label="State", choices=[(state.value, state.label) for state in OrderState], empty_label="Any state"
    )
    kind = django_filters.ChoiceFilter(label="Here for", choices=OrderKind.choices, empty_label="Anything")
    outcome = django_filters.ChoiceFilter(
        label="Outcome", choices=[(outcome.value, outcome.label) for outcome in Outcome], empty_label="Any outcome"
    )
    found = django_filters.ChoiceFilter(
        label="What was found",
        choices=[*Order.Found.choices, ("none", "Not stated")],
        method="stated",
        empty_label="Anything",
    )
    cause_kind = django_filters.ChoiceFilter(
        label="Cause", choices=[*Order.Cause.choices, ("none", "Not stated")], method="stated", empty_label="Any cause"
    )
    action_kind = django_filters.ChoiceFilter(
        label="What was done",
        choices=[*Order.Action.choices, ("none", "Not stated")],
        method="stated",
        empty_label="Anything",
    )
    finding = django_filters.ChoiceFilter(
        label="The service came upon",
        choices=[*Order.Finding.choices, ("some", "Anything at all"), ("none", "Not stated")],
        method="came_upon",
        empty_label="Anything or nothing",
    )
    plan = django_filters.ModelChoiceFilter(
        label="Plan", field_name="due__plan", queryset=Plan.objects.select_related("device_type"), empty_label="All"
    )
    site = site_filter()
    home = home_filter()
    type = type_filter()
    completed_min = django_filters.DateFilter(label="Completed from", method="from_day", widget=_day_input())
    completed_max = django_filters.DateFilter(label="Completed to", method="to_day", widget=_day_input())

    class Meta:
        model = Order
        fields = (
            "q", "state", "kind", "outcome", "found", "cause_kind", "action_kind", "finding", "plan", "site", "home",
            "type", "completed_min", "completed_max",
        )  # fmt: skip

    def stated(self, rows: OrderQuerySet, name: str, value: str) -> OrderQuerySet:
        """Orders with this code; "none" for those finished without one."""
        return (
            rows.filter(state=OrderState.DONE.value, **{name: ""}) if value == "none" else rows.filter(**{name: value})
        )

    def came_upon(self, rows: OrderQuerySet, _name: str, value: str) -> OrderQuerySet:
        """Services that ended with the driver in hand and came upon this; "none" for those that do not say."""
        services = rows.filter(kind=OrderKind.PLANNED, state=OrderState.DONE.value)
        services = services.exclude(outcome__in=[outcome.value for outcome in ABSENT_OUTCOMES])
        if value == "some":
            return services.exclude(finding__in=["", Order.Finding.NOTHING.value])
        return services.filter(finding="" if value == "none" else value)

    def from_day(self, rows: OrderQuerySet, _name: str, day: date) -> OrderQuerySet:
        """Orders completed on a day or later."""
        return rows.filter(completed_at__gte=day_begins(day))

    def to_day(self, rows: OrderQuerySet, _name: str, day: date) -> OrderQuerySet:
        """Orders completed on a day or before."""
        return rows.filter(completed_at__lt=day_begins(day + timedelta(days=1)))

    def named(self, rows: OrderQuerySet, _name: str, value: str) -> OrderQuerySet:
        """Orders whose number, or whose driver's asset or serial number, begins like this."""
        text = value.strip().replace("-", "")
        return rows.filter(
            Q(number__istartswith=text)
            | Q(device__asset_number__istartswith=value.strip())
            | Q(device__serial_number__istartswith=value.strip())
        )
