"""What is typed in about a due, a plan or a period."""

from typing import Any

from django import forms

from fleet.registry.forms import ActionForm
from fleet.registry.queries import types
from fleet.schedules.actions import EDITABLE
from fleet.schedules.models import DueAttempt, Plan
from fleet.web.forms import day_field, moment_field, words_field


class PeriodForm(forms.Form):
    """From when to when, both days in."""

    first = day_field("Windows that ended from")
    last = day_field("to")

    def clean(self) -> dict[str, Any]:
        """A period that ends before it begins holds nothing, which isn't what anybody means."""
        typed: dict[str, Any] = super().clean() or {}
        if {"first", "last"} <= typed.keys() and typed["last"] < typed["first"]:
            self.add_error("last", "Give the first day, or a later one.")
        return typed


class DeferForm(forms.Form):
    """Putting a due off."""

    until = day_field("Put off until", hint="The last day too: a deferral brings no second window.")
    why = words_field("Reason", hint="It stays on record with your name.")


class AttemptForm(forms.Form):
    """A visit in vain."""

    reason = forms.ChoiceField(
        label="Why it could not be done", choices=DueAttempt.Reason.choices, widget=forms.RadioSelect
    )
    at = moment_field("When")
    note = words_field("Note", required=False, hint="No patient names.")


class IntervalForm(forms.Form):
    """An interval of the driver's own."""

    months = forms.IntegerField(
        label="Every",
        min_value=1,
        max_value=240,
        required=False,
        help_text="Leave empty for the plan's own interval.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    why = words_field("Reason")


class PlanForm(ActionForm):
    """A plan: what, how often, on whose word. The action checks what fits together."""

    facts = EDITABLE
    why = words_field("Reason for the change", required=False)

    class Meta:
        model = Plan
        fields: tuple[str, ...] = (
            "device_type", "kind", "name", "every_months", "every_hours", "window_before_days", "window_after_days",
            "mode", "basis", "document", "basis_reason", "basis_by", "basis_on", "basis_review_on", "active",
        )  # fmt: skip
        widgets = {
            "basis_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "basis_review_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "basis_reason": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {
            "every_months": "Every so many months",
            "window_before_days": "Days the window opens before",
            "window_after_days": "Days the window stays open after",
            "mode": "Counted",
            "basis": "On whose word",
            "basis_reason": "Why another schedule than the maker's",
            "active": "In use",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        device_type: Any = self.fields["device_type"]
        device_type.queryset, device_type.empty_label = types(), "Choose a type"
        if self.instance.pk:
            # What is done to which type stays: a different service is a different plan.
            del self.fields["device_type"], self.fields["kind"]
        else:
            del self.fields["active"], self.fields["why"]
