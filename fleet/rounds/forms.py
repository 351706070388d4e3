"""What is typed on a round: where it is made, what came of a driver, a word at its end."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from fleet.registry.models import Place
from fleet.rounds.models import RoundStop
from fleet.web.forms import alternative, offer, words_field


class PlaceField(forms.ModelChoiceField):
    """A place, named with its site."""

    def label_from_instance(self, obj: Place) -> str:
        """Name the ward with its site, and a site as the whole of it."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else f"{obj}, the whole site"


class BeginForm(forms.Form):
    """Where the round is made."""

    place = PlaceField(Place.objects.none(), label="Place", empty_label="Choose")

    def __init__(self, *args: Any, places: QuerySet[Place], **kwargs: Any) -> None:
        """Offer these places."""
        super().__init__(*args, **kwargs)
        offer(self, "place", places)


class StopForm(forms.Form):
    """What came of a driver."""

    what = forms.ChoiceField(choices=RoundStop.What.choices)
    note = forms.CharField(label="Note", max_length=200, required=False)


class EndForm(forms.Form):
    """A word at the end."""

    note = alternative(words_field("Note on the round (if any)", required=False))
