"""What is ticked when a driver's accessories are counted."""

from typing import Any

from django import forms

from fleet.accessories import queries
from fleet.accessories.models import Missing
from fleet.registry.models import Accessory, Device
from fleet.web.forms import alternative

_PREFIX = "part_"


class CountForm(forms.Form):
    """How many of each accessory are there. `needed`: every one must be looked at; else any may be left out."""

    def __init__(self, *args: Any, device: Device, needed: bool, **kwargs: Any) -> None:
        """Ask for what belongs to the driver's type."""
        super().__init__(*args, **kwargs)
        for each in queries.belongings(device):
            field = forms.ChoiceField(
                label=str(each.accessory),
                choices=_choices(each.accessory, needed=needed),
                required=needed,
                widget=forms.RadioSelect,
                initial="",
            )
            field.if_missing = queries.what_to_do(each.accessory)  # type: ignore[attr-defined] # read by _count.html
            self.fields[f"{_PREFIX}{each.accessory.pk}"] = alternative(field)
            if each.missing:
                field.help_text = f"Missing since {each.missing.since:%d %b %Y}."

    def counted(self) -> dict[int, int]:
        """Accessory (its id) -> how many were there, of those that were looked at."""
        given = {name: self.cleaned_data.get(name, "") for name in self.fields}
        return {int(name.removeprefix(_PREFIX)): int(there) for name, there in given.items() if there != ""}


def _choices(accessory: Accessory, *, needed: bool) -> list[tuple[str, str]]:
    left_out = [] if needed else [("", "Not looked at")]
    if accessory.quantity == 1:
        return [("1", "With it"), ("0", "Missing"), *left_out]
    numbers = [(str(many), f"{many} of {accessory.quantity}") for many in range(accessory.quantity, -1, -1)]
    return [*numbers, *left_out]


class EndForm(forms.Form):
    """What came of a missing accessory."""

    ended = forms.ChoiceField(label="What came of it", choices=Missing.Ended.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label="Note", max_length=200, required=False, help_text="Where it was, or why it is given up."
    )


class DescribeForm(forms.Form):
    """An accessory's part number and what to do when it is missing."""

    part_number = forms.CharField(label="Part number", max_length=40, required=False)
    if_missing = forms.CharField(
        label="What to do when it is missing",
        max_length=200,
        required=False,
        help_text=f"Empty: “{queries.WHAT_TO_DO}”",
    )


class SearchForm(forms.Form):
    """How the list is narrowed."""

    q = forms.CharField(label="Driver, accessory or place", required=False, max_length=60)
