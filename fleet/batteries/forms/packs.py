"""Small forms about a pack: fit, take out, scrap, count cycles, void a test, add one."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from fleet.batteries.actions import NewPack
from fleet.batteries.models import Fitting, Pack
from fleet.core.lifecycle import Condition
from fleet.registry.models import Device, Party
from fleet.registry.queries import types
from fleet.web import clock
from fleet.web.forms import alternative, day_field, words_field


class _TodayForm(forms.Form):
    """A form whose day is today unless another is given."""

    on = day_field("On")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = clock.today


class FitForm(_TodayForm):
    """A pack that goes into a driver; which of the two is asked for depends on the page."""

    code = forms.CharField(label="Driver", max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    known = forms.BooleanField(
        label="The day is known for certain",
        required=False,
        initial=True,
        help_text="Without the tick it counts as the latest day it can have been.",
    )

    field_order = ["code", "on", "known"]

    @classmethod
    def of_pack(cls, packs: QuerySet[Pack], *args: Any, **kwargs: Any) -> "FitForm":
        """The form on a driver's page: it asks for one of `packs` by its number."""
        form = cls(*args, **kwargs)
        form.fields["code"] = forms.ModelChoiceField(
            packs, label="Pack", to_field_name="number",
            widget=forms.TextInput(attrs={"autocomplete": "off", "data-focus": ""}),
            help_text="Scan or type its number.",
            error_messages={"invalid_choice": "No free pack of this driver's type has that number."},
        )  # fmt: skip
        form.order_fields(cls.field_order)
        return form


class RemoveForm(_TodayForm):
    """A pack that comes out of a driver."""

    why = forms.ChoiceField(
        label="Why it is taken out",
        choices=[(value, label) for value, label in Fitting.Why.choices if value != Fitting.Why.RETIRED],
        widget=forms.RadioSelect(attrs={"data-focus": ""}),
    )
    note = alternative(forms.CharField(label="Note, if there is more to say", max_length=200, required=False))
    out_of_use = forms.BooleanField(
        label="Tag it out of use with this",
        required=False,
        help_text="It is in service, and cannot stay there without a pack. The bench checks it before it goes back.",
    )

    field_order = ["why", "on", "note", "out_of_use"]

    def __init__(self, *args: Any, device: Device | None = None, **kwargs: Any) -> None:
        """`device`: the driver it comes out of; whether it is tagged is asked only of one in service."""
        super().__init__(*args, **kwargs)
        if device is None or device.condition != Condition.IN_SERVICE:
            del self.fields["out_of_use"]


class ScrapForm(_TodayForm):
    """A pack that is scrapped."""

    why = forms.CharField(label="Why it is scrapped", max_length=200)

    field_order = ["why", "on"]


class CyclesForm(_TodayForm):
    """Charge cycles read from the driver or the pack."""

    cycles = forms.IntegerField(
        label="Charge cycles", min_value=0, max_value=100_000, widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )

    field_order = ["cycles", "on"]


class VoidForm(forms.Form):
    """A wrong test."""

    why = words_field("What is wrong with the test", hint="It stays on record with your name and counts for nothing.")


class PackForm(forms.Form):
    """A new pack for the stock."""

    for_type = forms.ModelChoiceField(types(), label="For")
    maker = forms.ModelChoiceField(Party.objects.filter(makes=True), label="Made by")
    part_number = forms.CharField(label="Part number", max_length=40)
    chemistry = forms.CharField(label="Chemistry", max_length=20, help_text="As printed on the pack, for example NiMH.")
    number = forms.CharField(
        label="Pack number", max_length=30, required=False, help_text="Empty: the next of our own series is given."
    )
    date_code = forms.CharField(label="Date code", max_length=20, required=False)
    made_on = day_field("Made on", required=False)
    price = forms.DecimalField(label="Price", max_digits=9, decimal_places=2, min_value=0, required=False)
    ordered = forms.BooleanField(
        label="It was on order",
        required=False,
        help_text="It then counts as come, against what is expected first for its type.",
    )

    def new_pack(self) -> NewPack:
        """The pack as the action takes it."""
        return NewPack(**{name: value for name, value in self.cleaned_data.items() if name != "ordered"})
