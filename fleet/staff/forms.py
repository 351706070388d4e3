"""What is typed in about training."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from fleet.people.models import Person
from fleet.registry.models import DeviceType
from fleet.staff.actions import Trained
from fleet.staff.models import Training, TrainingPolicy
from fleet.web.forms import alternative, day_field, offer


class TrainingForm(forms.Form):
    """One training of several people on one or more types."""

    people = forms.ModelMultipleChoiceField(
        queryset=Person.objects.none(), label="Who was trained", widget=forms.CheckboxSelectMultiple
    )
    types = forms.ModelMultipleChoiceField(
        queryset=DeviceType.objects.none(), label="On which types", widget=forms.CheckboxSelectMultiple
    )
    work = forms.ChoiceField(
        label="For", choices=Training.Work.choices, initial=Training.Work.ALL, widget=forms.RadioSelect
    )
    trained_on = day_field("Trained on")
    ends_on = day_field("Counts until, that day too", hint="Empty: without an end.", required=False)
    by_whom = forms.CharField(
        label="Trained by", max_length=120, required=False, help_text="The maker, or whoever of the house taught it."
    )
    evidence = forms.CharField(
        label="What shows it",
        max_length=200,
        required=False,
        help_text="A certificate with its number, a signed list. One of the two is needed.",
    )

    def __init__(self, *args: Any, people: QuerySet[Person], types: QuerySet[DeviceType], **rest: Any) -> None:
        super().__init__(*args, **rest)
        offer(self, "people", people)
        offer(self, "types", types)
        for name in ("ends_on", "by_whom", "evidence"):
            alternative(self.fields[name])

    def trained(self) -> Trained:
        """What was typed, for the action."""
        typed = {name: value for name, value in self.cleaned_data.items() if name != "people"}
        return Trained(**{**typed, "types": tuple(typed["types"]), "work": Training.Work(typed["work"])})


class WithdrawForm(forms.Form):
    """Why a training counts no longer."""

    why = forms.CharField(label="Why it counts no longer", max_length=200)


class TrainingPolicyForm(forms.Form):
    """What a place states itself; it carries what stood there when it was opened."""

    opened = forms.CharField(widget=forms.HiddenInput)
    rule = forms.ChoiceField(
        label="Work by somebody without training in date", required=False, widget=forms.RadioSelect
    )
    why = forms.CharField(label="Reason for the change", max_length=200, required=False)

    def __init__(self, *args: Any, above: str, **rest: Any) -> None:
        """`above`: in words, what holds where nothing is stated here."""
        super().__init__(*args, **rest)
        choices = [("", f"As above: {above}"), *TrainingPolicy.Rule.choices]
        self.fields["rule"].choices = choices  # type: ignore[attr-defined] # a choice field
        alternative(self.fields["rule"])
        alternative(self.fields["why"])
