"""What is typed in about minutes, parts and costs of an order; the kit of a procedure; the price of an hour."""

from decimal import Decimal
from typing import Any, Final

from django import forms

from fleet.bench.models import KitLine, Labour
from fleet.registry.models import Party
from fleet.stores.models import Part
from fleet.stores.queries import by_label, parts
from fleet.web import clock
from fleet.web.forms import NumberField, alternative, day_field

_WHOLE: Final = forms.TextInput(attrs={"inputmode": "numeric", "size": "5"})
_MONEY: Final = forms.TextInput(attrs={"inputmode": "decimal", "size": "9"})
#: Empty lines that the page of a kit offers below those that stand.
NEW_LINES: Final = 3


def _money(label: str, *, required: bool = True) -> NumberField:
    return NumberField(
        label=label, required=required, min_value=Decimal(0), max_digits=9, decimal_places=2, widget=_MONEY
    )


class LabourForm(forms.Form):
    """Minutes spent."""

    minutes = forms.IntegerField(label="Minutes", widget=_WHOLE)
    activity = forms.ChoiceField(label="Spent on", choices=Labour.Activity.choices)


class StartForm(forms.Form):
    """What the clock that is started is for."""

    activity = forms.ChoiceField(label="Working on", choices=Labour.Activity.choices)


class StopForm(forms.Form):
    """The minutes, where the clock is wrong."""

    minutes = alternative(
        forms.IntegerField(
            label="Minutes, if the clock is wrong", required=False, min_value=1, max_value=24 * 60, widget=_WHOLE
        )
    )


class IssueForm(forms.Form):
    """A part from stock, by a scan of its label or any of its numbers."""

    code = forms.CharField(
        label="Scan or type a part",
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    quantity = forms.IntegerField(label="How many", initial=1, min_value=1, max_value=999, widget=_WHOLE)

    def clean_code(self) -> Part:
        """The part that is meant."""
        code = self.cleaned_data["code"]
        scanned = by_label(code, clock.today().year)
        if scanned is None:
            raise forms.ValidationError(
                f"The stores keep no part called “{code}”. Scan its label again, or name it in words below."
            )
        return scanned.part


class KitIssueForm(forms.Form):
    """Nothing to type: the kit is issued."""


class TakeBackForm(forms.Form):
    """How many of which part of the order come back unused."""

    use = forms.IntegerField(widget=forms.HiddenInput)
    quantity = forms.IntegerField(label="How many", min_value=1, max_value=999, widget=_WHOLE)


class PartForm(forms.Form):
    """A part that went in and is in no store."""

    name = forms.CharField(label="Part", max_length=80)
    quantity = forms.IntegerField(label="How many", initial=1, widget=_WHOLE)
    part_number = forms.CharField(label="Part number", required=False, max_length=40)
    batch = forms.CharField(label="Batch", required=False, max_length=40)
    price = _money("Price each", required=False)


class ExternalForm(forms.Form):
    """What somebody else was paid."""

    words = forms.CharField(label="Paid for", max_length=120, help_text="Such as the maker's repair, carriage.")
    amount = _money("Amount")
    provider = forms.ModelChoiceField(Party.objects.none(), label="Paid to", required=False, empty_label="Not stated")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["provider"].queryset = Party.objects.order_by("name")  # type: ignore[attr-defined] # a choice of rows


class VoidForm(forms.Form):
    """Which outside cost was entered by mistake, and why it does not count."""

    cost = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(label="Why it does not count", max_length=200)


class RateForm(forms.Form):
    """What an hour of the bench costs, and from when."""

    per_hour = _money("Price of an hour")
    from_on = day_field("From")
    source = forms.CharField(label="Where it comes from", max_length=200, required=False)


class KitForm(forms.Form):
    """The lines of a kit: those that stand, and a few new ones. An emptied number takes its part out."""

    def __init__(self, *args: Any, lines: list[KitLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for line in lines:
            self.fields[f"many_{line.part_id}"] = alternative(
                forms.IntegerField(
                    label=f"How many of {line.part}",
                    initial=line.quantity,
                    required=False,
                    min_value=0,
                    max_value=99,
                    widget=_WHOLE,
                )
            )
        kept = parts().filter(dropped_on__isnull=True)
        for number in range(NEW_LINES):
            self.fields[f"part_{number}"] = alternative(
                forms.ModelChoiceField(kept, label="Part", required=False, empty_label="Choose a part")
            )
            self.fields[f"quantity_{number}"] = alternative(
                forms.IntegerField(label="How many", required=False, min_value=1, max_value=99, widget=_WHOLE)
            )

    def standing(self) -> list[tuple[KitLine, forms.BoundField]]:
        """Each line that stands with its number."""
        return [(line, self[f"many_{line.part_id}"]) for line in self.lines]

    def new(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """The empty lines."""
        return [(self[f"part_{number}"], self[f"quantity_{number}"]) for number in range(NEW_LINES)]

    def kit(self) -> dict[Part, int]:
        """The kit as typed."""
        typed = self.cleaned_data
        kit = {line.part: many for line in self.lines if (many := typed.get(f"many_{line.part_id}"))}
        for number in range(NEW_LINES):
            if part := typed.get(f"part_{number}"):
                kit[part] = kit.get(part, 0) + (typed.get(f"quantity_{number}") or 1)
        return kit
