"""The periods that figures are asked for."""

from datetime import date
from typing import Any

from django import forms

from fleet.bench.models import OrderKind
from fleet.core.due import add_months
from fleet.web.forms import day_field

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


def last_months(today: date) -> dict[str, Any]:
    """What is shown unasked: this month and the twelve before it."""
    return {"first": add_months(today.replace(day=1), -MONTHS), "last": today, "kind": ""}
