"""What is typed in about an alert."""

from typing import Any

from django import forms

from fleet.alerts.models import Alert, AlertKind
from fleet.alerts.queries import kinds
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import by_code
from fleet.web.forms import moment_field, offer, words_field


class RecordForm(forms.Form):
    """An alert seen on a driver. `person` is who types: a driver outside their places is not found."""

    code = forms.CharField(
        label="Driver",
        max_length=200,
        help_text="Scan or type its asset number, serial number or UDI.",
        widget=forms.TextInput(attrs={"autofocus": True, "autocomplete": "off", "spellcheck": "false"}),
    )
    kind = forms.ModelChoiceField(
        label="What it raised", queryset=AlertKind.objects.none(), widget=forms.RadioSelect, empty_label=None
    )
    screen_text = forms.CharField(
        label="What the screen said", max_length=200, required=False, help_text="Word for word. No patient names."
    )
    at = moment_field("When it was seen")
    times = forms.IntegerField(
        label="How often",
        min_value=1,
        max_value=10_000,
        initial=1,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    seen_by = forms.CharField(label="Seen by", max_length=120)
    source = forms.ChoiceField(
        label="Where",
        choices=[(one.value, one.label) for one in (Alert.Source.BENCH, Alert.Source.WARD)],
        widget=forms.RadioSelect,
        initial=Alert.Source.BENCH,
    )

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        offer(self, "kind", kinds())
        self.fields["seen_by"].initial = str(person)
        if self.initial.get("code"):
            # The driver is known: a number key then picks what it raised, and does not overwrite the asset number.
            del self.fields["code"].widget.attrs["autofocus"]
            self.fields["kind"].widget.attrs["data-focus"] = ""

    def clean_code(self) -> Device:
        """The driver that the code names, if the person may know of it."""
        code = self.cleaned_data["code"]
        device = by_code(code)
        if device is None or not Device.objects.within(self.person).filter(pk=device.pk).exists():
            raise forms.ValidationError(f"No driver of yours is known by “{code}”. Check the number on its label.")
        return device


class ClearForm(forms.Form):
    """Closing an alert without an order."""

    why = words_field("Reason", hint="It stays on record with your name.")
