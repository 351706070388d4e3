"""What is typed in about a due, a plan or a period."""

from decimal import Decimal
from typing import Any, cast

from django import forms

from fleet.people.models import Person
from fleet.registry.forms import ActionForm, PlaceChoice
from fleet.registry.models import Place
from fleet.registry.queries import open_places, types
from fleet.schedules.actions import EDITABLE, Asked
from fleet.schedules.models import DueAttempt, Plan
from fleet.web.forms import day_field, moment_field, offer, words_field


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
            "repeat_days", "mode", "basis", "document", "basis_reason", "basis_by", "basis_on", "basis_review_on",
            "active",
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
            "repeat_days": "Days after it in which a fault raises the question whether it was the cause",
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


def minutes_field(label: str, minutes: int) -> forms.IntegerField:
    """The minutes that one kind of work takes, with a number to begin with that nobody has measured."""
    return forms.IntegerField(
        label=label,
        min_value=0,
        max_value=600,
        initial=minutes,
        help_text="Assumed; give your own. 0 leaves it out.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


class LevellingForm(forms.Form):
    """What a proposal to level the work is made for."""

    place = PlaceChoice(queryset=Place.objects.none(), label="For the drivers at home in", empty_label="Choose a place")
    hours_a_week = forms.DecimalField(
        label="Technician hours a week for planned work",
        min_value=Decimal("0.5"),
        max_value=Decimal(5000),
        decimal_places=1,
        widget=forms.NumberInput(attrs={"inputmode": "decimal"}),
    )
    most_away = forms.IntegerField(
        label="Most of a ward's drivers away in one week",
        min_value=1,
        max_value=100,
        initial=20,
        help_text="One may always be away, however few a ward has.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    service = minutes_field("A service takes", 45)
    battery = minutes_field("A battery test takes", 20)
    library = minutes_field("A library update takes", 10)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", open_places().within(person))
        if person.everywhere:
            self.fields["place"].required = False
            cast("forms.ModelChoiceField[Any]", self.fields["place"]).empty_label = "All places"

    @property
    def minutes(self) -> list[tuple[Any, str]]:
        """The fields of minutes with their unit."""
        return [(self[kind.value], "minutes") for kind in Plan.Kind]

    def asked(self) -> Asked:
        """What was typed, as the action takes it."""
        typed = self.cleaned_data
        return Asked(
            place=typed["place"],
            hours_a_week=typed["hours_a_week"],
            most_away=Decimal(typed["most_away"]) / 100,
            minutes={kind.value: typed[kind.value] for kind in Plan.Kind},
        )
