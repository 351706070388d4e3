"""The periods that figures are asked for."""

from datetime import date
from typing import Any

from django import forms

from fleet.bench.models import OrderKind
from fleet.core.due import add_months
from fleet.people.models import Person
from fleet.registry.models import DeviceType, Party, Place
from fleet.stores.models import Part
from fleet.stores.queries import places_with_parts
from fleet.web.forms import day_field, offer

#: Longer than any plot is readable, and than one answer should take.
MOST_DAYS = 5 * 366
MONTHS = 12


class FinishedForm(forms.Form):
    """From when to when orders were finished."""

    first = day_field("Finished from")
    last = day_field("to")

    def clean(self) -> dict[str, Any]:
        """Refuse a period that holds nothing, or more than can be shown."""
        typed: dict[str, Any] = super().clean() or {}
        if {"first", "last"} <= typed.keys():
            days = (typed["last"] - typed["first"]).days
            if days < 0:
                self.add_error("last", "Give the first day, or a later one.")
            elif days > MOST_DAYS:
                self.add_error("last", "Ask for five years at most.")
        return typed


class TurnaroundForm(FinishedForm):
    """From when to when orders were finished, and what for."""

    kind = forms.ChoiceField(label="Here for", required=False, choices=[("", "Anything"), *OrderKind.choices])


class SentOutForm(FinishedForm):
    """From when to when drivers were sent out, and to whom."""

    first = day_field("Sent out from")
    company = forms.ModelChoiceField(Party.objects.all(), label="Company", required=False, empty_label="All companies")


class OrderedForm(forms.Form):
    """One line of the reorder list that was ordered: a part for a place, or packs of a type."""

    part = forms.ModelChoiceField(Part.objects.filter(dropped_on__isnull=True), required=False)
    place = forms.ModelChoiceField(Place.objects.none(), required=False)
    pack_type = forms.ModelChoiceField(DeviceType.objects.all(), required=False)
    quantity = forms.IntegerField(label="How many", min_value=1, max_value=9999)
    expected_on = day_field("Expected on")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", places_with_parts().within(person))

    def clean(self) -> dict[str, Any]:
        """Ask for packs of a type, or for a part with its place."""
        typed: dict[str, Any] = super().clean() or {}
        if not typed.get("pack_type") and not (typed.get("part") and typed.get("place")):
            raise forms.ValidationError("Say which part was ordered for which place, or which packs.")
        return typed


def last_months(today: date) -> dict[str, Any]:
    """What is shown unasked: this month and the twelve before it."""
    return {"first": add_months(today.replace(day=1), -MONTHS), "last": today, "kind": ""}
