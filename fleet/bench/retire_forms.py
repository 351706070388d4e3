"""What is typed in when a driver is retired, when its record is completed, and about the ways to do so."""

from typing import Any

from django import forms

from fleet.bench.actions import Disposal, Kept
from fleet.bench.models import Retirement, RetirementMethod
from fleet.people.proof import password_field
from fleet.registry.models import Device
from fleet.web.forms import alternative, day_field, offer, words_field

_BACK_TO = [(pool.value, pool.label) for pool in Device.Pool if pool is not Device.Pool.TRAINING]


class RetireForm(forms.Form):
    """Why a driver is retired; whoever is signed in authorises it."""

    reason = forms.ChoiceField(label="Reason", choices=Retirement.Reason.choices, widget=forms.RadioSelect)
    words = words_field("In words", hint="It stays on record with your name.")
    password = password_field()


class WhyForm(forms.Form):
    """A reason."""

    why = forms.CharField(label="Why", max_length=200)


class DisposalForm(forms.Form):
    """What became of a retired driver and how its data were wiped."""

    disposal = forms.ModelChoiceField(RetirementMethod.objects.none(), label="What became of it")
    disposal_words = alternative(forms.CharField(label="Where it went", max_length=200, required=False))
    wiping = alternative(
        forms.ModelChoiceField(
            RetirementMethod.objects.none(), label="How it was wiped", required=False, empty_label="Nothing to wipe"
        )
    )
    wiped = alternative(
        forms.MultipleChoiceField(
            label="What was wiped",
            required=False,
            choices=Retirement.Data.choices,
            widget=forms.CheckboxSelectMultiple,
            help_text="All that it may hold by its maker's word.",
        )
    )
    wiped_by_name = alternative(forms.CharField(label="Who wiped it", max_length=120, required=False))
    wiped_on = alternative(day_field("Wiped on", required=False))
    wiping_verified = alternative(
        forms.CharField(
            label="How that was verified",
            max_length=200,
            required=False,
            help_text="Its log and network settings looked at afterwards, for example.",
        )
    )
    no_data_why = alternative(
        forms.CharField(
            label="If there was nothing to wipe: why",
            max_length=200,
            required=False,
            help_text="It keeps no patient or network data by its maker's word, or it is not in our hands.",
        )
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the ways on the list."""
        super().__init__(*args, **kwargs)
        standing = RetirementMethod.objects.filter(dropped_at=None)
        offer(self, "disposal", standing.filter(kind=RetirementMethod.Kind.DISPOSAL))
        offer(self, "wiping", standing.filter(kind=RetirementMethod.Kind.WIPING))

    def given(self, parts: list[Kept]) -> Disposal:
        """What was typed, for the action."""
        return Disposal(**self.cleaned_data, parts=parts)


class PartRow(forms.Form):
    """One part that was kept; an empty row is none."""

    name = forms.CharField(label="Part kept", max_length=80, required=False)
    quantity = forms.IntegerField(label="How many", min_value=1, max_value=99, initial=1)
    part_number = alternative(forms.CharField(label="Part number", max_length=40, required=False))


PartRows = forms.formset_factory(PartRow, extra=3)


class MethodForm(forms.Form):
    """A way to dispose of drivers or to wipe them."""

    kind = forms.ChoiceField(label="For", choices=RetirementMethod.Kind.choices)
    words = forms.CharField(label="In a word", max_length=60)
    explains = alternative(forms.CharField(label="What it means", max_length=200, required=False))
    source = alternative(forms.CharField(label="Source and edition", max_length=160, required=False))


class ToTrainingForm(forms.Form):
    """Why a driver becomes a training unit."""

    why = forms.CharField(label="Why it becomes a training unit", max_length=200)


class FromTrainingForm(forms.Form):
    """Where a training unit goes, and why."""

    pool = forms.ChoiceField(label="It goes to the pool", choices=_BACK_TO)
    why = forms.CharField(label="Why it ends as a training unit", max_length=200)


class RetentionForm(forms.Form):
    """For how long records are kept at least, and who decided it."""

    years = forms.IntegerField(
        label="Years from retirement, at least",
        min_value=1,
        max_value=100,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    decided_by = forms.CharField(label="Who decided it", max_length=120)
    decided_on = day_field("Decided on")
    source = forms.CharField(
        label="Policy or law it follows", max_length=200, help_text="With its edition. Benchward knows none of them."
    )


class SearchForm(forms.Form):
    """How the list is narrowed."""

    q = forms.CharField(label="Asset, serial, type or reason", required=False, max_length=60)
