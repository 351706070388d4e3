"""What is typed in when a driver is lent or comes back."""

from typing import Any

from django import forms

from fleet.loans import queries
from fleet.loans.actions import Lending, Return
from fleet.loans.models import Loan
from fleet.people.models import Person
from fleet.registry.forms import PlaceChoice
from fleet.registry.models import Place
from fleet.tags.models import YesNo
from fleet.web.forms import alternative, day_field, offer

_BACK = [(each.value, each.label) for each in Loan.Back if each is not Loan.Back.BENCH]


class LendForm(forms.Form):
    """To whom, until when, in which condition and with what."""

    to_place = alternative(
        PlaceChoice(queryset=Place.objects.none(), label="Lent to", required=False, empty_label="No ward of ours")
    )
    borrower = alternative(
        forms.CharField(
            label="Person or other house",
            max_length=120,
            required=False,
            help_text="Whoever signs for it. No patient names.",
        )
    )
    reach = alternative(forms.CharField(label="How to reach them", max_length=80, required=False))
    due_back = day_field("To come back by")
    state_out = alternative(forms.CharField(label="Marks and scratches it has now", max_length=200, required=False))
    along = alternative(
        forms.CharField(label="What else goes with it", max_length=200, required=False, help_text="A bag, a manual.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the wards that drivers are lent to."""
        super().__init__(*args, **kwargs)
        offer(self, "to_place", queries.where_lent())

    def lending(self) -> Lending:
        """What was typed, for the action."""
        return Lending(**self.cleaned_data)


class BackForm(forms.Form):
    """How a driver came back."""

    back = forms.ChoiceField(label="How is it?", choices=_BACK, widget=forms.RadioSelect)
    back_words = alternative(
        forms.CharField(
            label="In words",
            max_length=200,
            required=False,
            help_text="Needed where something is wrong. No patient names.",
        )
    )
    harm = alternative(
        forms.ChoiceField(
            label="If something is wrong: was anyone harmed, or might have been?",
            choices=YesNo.choices,
            widget=forms.RadioSelect,
            required=False,
        )
    )
    returned_to = PlaceChoice(queryset=Place.objects.none(), label="Put it back in")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        """Offer the places it can be put in."""
        super().__init__(*args, **kwargs)
        offer(self, "returned_to", queries.where_back(person))

    def given(self) -> Return:
        """What was typed, for the action."""
        return Return(**{**self.cleaned_data, "back": Loan.Back(self.cleaned_data["back"])})


class PutOffForm(forms.Form):
    """Until when it may stay out, and why."""

    due_back = day_field("To come back by")
    why = forms.CharField(label="Why it stays out longer", max_length=200)


class SearchForm(forms.Form):
    """How the list is narrowed."""

    q = forms.CharField(label="Driver, ward or borrower", required=False, max_length=60)
