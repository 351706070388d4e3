"""What is typed in about a delivery; its drivers are scanned."""

from typing import Any

from django import forms

from fleet.deliveries import queries
from fleet.deliveries.models import Delivery
from fleet.people.models import Person
from fleet.registry.forms import PlaceChoice
from fleet.registry.models import DeviceType, Place
from fleet.registry.queries import types
from fleet.web import clock
from fleet.web.forms import alternative, day_field, offer


class DeliveryForm(forms.ModelForm):
    """What the papers of a delivery say. The action saves it."""

    place = PlaceChoice(queryset=Place.objects.none(), label="They are for", empty_label="Choose")
    delivered_on = day_field("Delivered on")
    warranty_until = day_field("Warranty ends on", required=False)

    class Meta:
        model = Delivery
        fields = (
            "device_type", "place", "supplier", "purchase_order", "delivered_on", "warranty_until", "pool",
            "first_asset",
        )  # fmt: skip
        labels = {"device_type": "Type", "pool": "Pool"}

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        """`person`: drivers are taken in for their places only."""
        super().__init__(*args, **kwargs)
        offer(self, "place", queries.homes(person))
        offer(self, "device_type", types())
        offer(self, "supplier", queries.suppliers())
        self.initial.setdefault("delivered_on", clock.today())
        alternative(
            self.fields["first_asset"]
        ).help_text = f"The others follow it. Empty: our own series, next {queries.next_own_number()}."

    def _post_clean(self) -> None:
        """Leave the row alone."""


class TypeForm(forms.Form):
    """Which type an unknown identifier belongs to."""

    code = forms.CharField(widget=forms.HiddenInput)
    device_type = forms.ModelChoiceField(DeviceType.objects.none(), label="It is a")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer every type on record."""
        super().__init__(*args, **kwargs)
        offer(self, "device_type", types())


class DropForm(forms.Form):
    """Why a delivery is not taken in."""

    why = forms.CharField(label="Why it is dropped", max_length=200)


class SearchForm(forms.Form):
    """How the list is narrowed."""

    q = forms.CharField(label="Order, supplier, type, serial or asset", required=False, max_length=60)
