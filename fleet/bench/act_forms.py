"""What is typed beside an order: taking it, letting it wait, what the ward is told, what the driver shows."""

from typing import Any

from django import forms
from django.db.models import Q

from fleet.core.lifecycle import WaitReason
from fleet.registry.models import Party, Place
from fleet.web.forms import alternative, day_field, offer

WAITS = [reason for reason in WaitReason if reason is not WaitReason.ACCEPTANCE]


class TakeForm(forms.Form):
    """Nothing to type: the order becomes one's own."""


class ResumeForm(forms.Form):
    """Nothing to type: the order is taken up again."""


class WaitForm(forms.Form):
    """What an order waits for."""

    wait_reason = forms.ChoiceField(label="Waits for", choices=[(reason.value, reason.label) for reason in WAITS])
    provider = alternative(
        forms.ModelChoiceField(
            Party.objects.filter(Q(services=True) | Q(makes=True)),
            label="Sent to",
            required=False,
            empty_label="Whoever services it by its record",
            help_text="Where it waits for the maker or another company outside.",
        )
    )
    why = forms.CharField(
        label="What for",
        required=False,
        max_length=200,
        help_text="For parts: which part, and the number of its order. The ward sees the reason and the day only.",
    )
    expected_back = day_field(
        "Driver expected back on", hint="The ward sees this day. Leave it empty if nobody knows yet.", required=False
    )

    def clean(self) -> dict[str, Any]:
        """Whoever waits for a part says for which."""
        typed: dict[str, Any] = super().clean() or {}
        if typed.get("wait_reason") == WaitReason.PARTS and not typed.get("why", "").strip():
            self.add_error("why", "Say which part it waits for, and the number of its order if there is one.")
        return typed


class WidenForm(forms.Form):
    """Why a recheck works the whole procedure: each reason is a button, so one press says it."""

    WHY = (
        "Something else looks wrong with it",
        "It is to be serviced anyway",
        "Local policy asks for all of it",
        "The readings in doubt do not tell enough",
    )
    why = forms.ChoiceField(choices=[(words, words) for words in WHY])


class HoldBackForm(forms.Form):
    """Where a driver is kept, out of use, with its order open."""

    place = forms.ModelChoiceField(Place.objects.none(), label="Keep it at")
    why = forms.CharField(label="Why", max_length=200)

    def __init__(self, *args: Any, places: Any, **rest: Any) -> None:
        """`places`: stores and benches."""
        super().__init__(*args, **rest)
        offer(self, "place", places)


class ExpectForm(forms.Form):
    """When the ward may expect the driver back."""

    expected_back = day_field(
        "Expected back on", hint="The ward sees this day. Leave it empty if nobody knows.", required=False
    )


class CancelForm(forms.Form):
    """Why an order is not needed."""

    why = forms.CharField(label="Why it is not needed", max_length=200)


class ReadOffForm(forms.Form):
    """What the driver itself shows."""

    firmware = forms.CharField(label="Software version", required=False, max_length=30, help_text="As it shows it.")
    running_hours = forms.DecimalField(
        label="Running hours",
        required=False,
        min_value=0,
        max_digits=9,
        decimal_places=1,
        help_text="The counter, in hours.",
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )
