"""What is typed in about parts and stock."""

from typing import Any, Final

from django import forms

from fleet.people.models import Person
from fleet.registry.forms import ActionForm, PlaceChoice
from fleet.registry.models import DeviceType, Place
from fleet.registry.queries import types
from fleet.stores.actions import PART_FACTS, Delivered, Found
from fleet.stores.models import Part, StockQuerySet
from fleet.stores.queries import by_label, places_with_parts
from fleet.web import clock
from fleet.web.forms import alternative, day_field, offer

_WHOLE: Final = forms.TextInput(attrs={"inputmode": "numeric", "size": "6"})
_MONEY: Final = forms.TextInput(attrs={"inputmode": "decimal", "size": "9"})
#: Lines of a delivery that one page takes; a longer note is entered in parts.
LINES: Final = 6


def _many(label: str, *, initial: int | None = None, least: int = 1) -> forms.IntegerField:
    return forms.IntegerField(label=label, initial=initial, min_value=least, max_value=9999, widget=_WHOLE)


class PartForm(ActionForm):
    """A part."""

    facts = PART_FACTS
    types = forms.ModelMultipleChoiceField(
        DeviceType.objects.none(),
        label="Fits",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: it fits every type. A part is refused on an order of another type.",
    )

    class Meta:
        model = Part
        fields: tuple[str, ...] = (
            "number", "name", "maker", "maker_number", "price", "reorder_quantity", "lead_days", "keeps_batch",
            "keeps_expiry",
        )  # fmt: skip
        widgets = {"price": _MONEY, "reorder_quantity": _WHOLE, "lead_days": _WHOLE}
        help_texts = {
            "number": "The store's own, as it stands on the label.",
            "maker_number": "A scan of it, or of the package's code, finds the part too.",
            "keeps_batch": "A delivery is then refused without its batch.",
            "keeps_expiry": "A delivery is then refused without its day; an expired batch is never issued.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "types", types())
        self.fields["types"] = alternative(self.fields["types"])
        if self.instance.pk:
            self.initial["types"] = self.instance.types.all()


class ShelfForm(forms.Form):
    """Where a part is kept, in which bin, and how many at least."""

    place = PlaceChoice(queryset=Place.objects.none(), label="Kept at")
    bin_ = forms.CharField(label="Bin", max_length=20, required=False)
    minimum = _many("At least", initial=0, least=0)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", places_with_parts().within(person))


class MoveForm(forms.Form):
    """How many go where."""

    quantity = _many("How many")
    place = PlaceChoice(queryset=Place.objects.none(), label="To")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", places_with_parts().within(person))


class ScrapForm(forms.Form):
    """How many are scrapped, and why."""

    quantity = _many("How many")
    why = forms.CharField(label="Why", max_length=200)


class SaveForm(forms.Form):
    """A part saved from a retired driver."""

    asset = forms.CharField(label="Asset number of the retired driver", max_length=40)
    quantity = _many("How many", initial=1)
    place = PlaceChoice(queryset=Place.objects.none(), label="Put at")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", places_with_parts().within(person))


class OrderedForm(forms.Form):
    """What was ordered."""

    quantity = _many("How many")
    expected_on = day_field("Expected on")
    place = PlaceChoice(queryset=Place.objects.none(), label="Delivered to")
    reference = forms.CharField(label="Purchase number", max_length=40, required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", places_with_parts().within(person))


class DeliveryForm(forms.Form):
    """A delivery: where, by which note, and line by line what came."""

    place = PlaceChoice(queryset=Place.objects.none(), label="Received at")
    reference = forms.CharField(label="Delivery note", max_length=40, required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", places_with_parts().within(person))
        for number in range(LINES):
            self.fields |= _line_fields(number)

    def lines(self) -> list[list[forms.BoundField]]:
        """The fields of each line."""
        return [[self[name] for name in _line_fields(number)] for number in range(LINES)]

    def clean(self) -> dict[str, Any]:
        """Read each line that names a part: what a package's code carries fills what was left empty."""
        typed = super().clean() or self.cleaned_data
        self.delivered = [line for number in range(LINES) if (line := self._line(number, typed))]
        if not self.delivered and not self.errors:
            self.add_error("part_0", "Scan or type at least one part.")
        return typed

    def _line(self, number: int, typed: dict[str, Any]) -> Delivered | None:
        code = typed.get(f"part_{number}", "")
        if not code:
            return None
        scanned = by_label(code, clock.today().year)
        if scanned is None:
            self.add_error(f"part_{number}", f"No part is called “{code}”. Scan its label, or add the part first.")
            return None
        return Delivered(
            part=scanned.part,
            quantity=typed.get(f"quantity_{number}") or 1,
            batch=typed.get(f"batch_{number}") or scanned.batch,
            expires_on=typed.get(f"expires_on_{number}") or scanned.expires_on,
        )


def _line_fields(number: int) -> dict[str, forms.Field]:
    scan = forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"})
    fields = {
        "part": forms.CharField(label="Part: scan or number", max_length=200, required=False, widget=scan),
        "quantity": forms.IntegerField(label="How many", required=False, min_value=1, max_value=9999, widget=_WHOLE),
        "batch": forms.CharField(label="Batch", max_length=40, required=False),
        "expires_on": day_field("Expires on", required=False),
    }
    return {f"{name}_{number}": alternative(each) for name, each in fields.items()}


class CountForm(forms.Form):
    """A count of a place: what was found of each stock, beside what the sheet said."""

    why = forms.CharField(
        label="Why it differs",
        max_length=200,
        required=False,
        help_text="Needed where a count differs: what explains it, or that nobody knows.",
    )

    def __init__(self, *args: Any, stocks: StockQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["why"] = alternative(self.fields["why"])
        self.rows = list(stocks)
        for row in self.rows:
            self.fields[f"found_{row.pk}"] = alternative(
                forms.IntegerField(label=f"Found of {row}", required=False, min_value=0, max_value=9999, widget=_WHOLE)
            )
            self.fields[f"expected_{row.pk}"] = forms.IntegerField(
                widget=forms.HiddenInput, initial=row.quantity, required=False
            )

    def lines(self) -> list[tuple[Any, forms.BoundField, forms.BoundField]]:
        """Each stock with the field of what was found and the hidden one of what the sheet said."""
        return [(row, self[f"found_{row.pk}"], self[f"expected_{row.pk}"]) for row in self.rows]

    def found(self) -> list[Found]:
        """What was counted; a stock left empty was not."""
        typed = self.cleaned_data
        return [
            Found(stock=row, quantity=typed[f"found_{row.pk}"], expected=typed.get(f"expected_{row.pk}") or 0)
            for row in self.rows
            if typed.get(f"found_{row.pk}") is not None
        ]
