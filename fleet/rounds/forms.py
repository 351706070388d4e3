"""What is typed on a round: where it is made, what came of a driver, a word at its end."""

from collections.abc import Sequence
from typing import Any, ClassVar

from django import forms
from django.db.models import QuerySet

from fleet.registry.models import Device, Place
from fleet.rounds.actions import Typed
from fleet.rounds.models import RoundStop
from fleet.web.forms import alternative, day_field, offer, words_field


class PlaceField(forms.ModelChoiceField):
    """A place, named with its site."""

    def label_from_instance(self, obj: Place) -> str:
        """Name the ward with its site, and a site as the whole of it."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else f"{obj}, the whole site"


class BeginForm(forms.Form):
    """Where the round is made."""

    place = PlaceField(Place.objects.none(), label="Place", empty_label="Choose")
    on = alternative(day_field("Day", required=False, hint="A later day shows what is due by then."))

    def __init__(self, *args: Any, places: QuerySet[Place], **kwargs: Any) -> None:
        """Offer these places."""
        super().__init__(*args, **kwargs)
        offer(self, "place", places)


class StopForm(forms.Form):
    """What came of a driver."""

    what = forms.ChoiceField(choices=RoundStop.What.choices)
    note = forms.CharField(label="Note", max_length=200, required=False)


class HereForm(forms.Form):
    """The ward one stands in, on a round of a building or a site."""

    here = PlaceField(Place.objects.none(), label="You are in", required=False, empty_label="Where the record says")

    def __init__(self, *args: Any, wards: QuerySet[Place], **kwargs: Any) -> None:
        """Offer these wards."""
        super().__init__(*args, **kwargs)
        offer(self, "here", wards)
        alternative(self.fields["here"])


class PaperForm(forms.Form):
    """What the paper says came of each driver; `drivers` in the order of the list."""

    CHOICES: ClassVar = [
        ("", "Not filled in"),
        *((what.value, what.label) for what in RoundStop.What if what is not RoundStop.What.SEEN),
    ]

    def __init__(self, *args: Any, drivers: Sequence[Device], **kwargs: Any) -> None:
        """One answer, its time and one note a driver."""
        super().__init__(*args, **kwargs)
        for device in drivers:
            label = f"What came of {device}"
            self.fields[f"what-{device.pk}"] = forms.ChoiceField(choices=self.CHOICES, label=label, required=False)
            self.fields[f"at-{device.pk}"] = forms.TimeField(
                label=f"When {device} was done",
                required=False,
                widget=forms.TimeInput(attrs={"type": "time"}),
            )
            self.fields[f"note-{device.pk}"] = forms.CharField(
                label=f"Note on {device}", max_length=200, required=False, widget=forms.TextInput(attrs={"size": "16"})
            )

    def answers(self, device: Device) -> tuple[str, dict[str, Any]]:
        """The answer of a driver with its note and time, as `stop` takes them; empty where none was filled in."""
        typed = self.cleaned_data
        more = {"note": typed.get(f"note-{device.pk}", ""), "typed": Typed(typed.get(f"at-{device.pk}"))}
        return typed.get(f"what-{device.pk}", ""), more


class EndForm(forms.Form):
    """A word at the end."""

    note = alternative(words_field("Note on the round (if any)", required=False))
