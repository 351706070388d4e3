"""What is typed in about places, types and drivers. The actions save it, not the forms."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, ClassVar, TypeVar

from django import forms
from django.conf import settings
from django.db import models

from fleet.audit.changes import fingerprint
from fleet.core.errors import BenchwardError, ConflictError
from fleet.people.models import Person
from fleet.registry.actions import EDITABLE, PARTY_FACTS, PLACE_FACTS, TYPE_FACTS, Handover
from fleet.registry.models import Device, DeviceType, Party, Place
from fleet.registry.queries import open_places, types
from fleet.web.forms import alternative, day_field, offer, put_beside, words_field
from fleet.web.phrases import quantity

T = TypeVar("T")

_NUMBER = forms.NumberInput(attrs={"inputmode": "decimal"})
_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class PlaceChoice(forms.ModelChoiceField):
    """A place with its site beside it, since each site has a Ward 4."""

    def label_from_instance(self, obj: Any) -> str:
        """The place, then its site."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else str(obj)


class ActionForm(forms.ModelForm):
    """A form over a row that an action changes. It carries what the row held when it was opened."""

    facts: ClassVar[Iterable[str]] = ()
    #: The headings of a long form, each by the field that it stands above.
    headings: ClassVar[Mapping[str, str]] = {}
    opened = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stands: list[tuple[str, str]] = []
        if self.instance.pk:
            self.initial["opened"] = fingerprint(self.instance, self.facts)
        else:
            del self.fields["opened"]

    @property
    def parts(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under their headings, what stands above the first heading under none."""
        found: list[tuple[str, list[forms.BoundField]]] = [("", [])]
        for field in self:
            if field.name in self.headings:
                found.append((self.headings[field.name], []))
            found[-1][1].append(field)
        return found

    def _post_clean(self) -> None:
        """Leave the row alone."""

    def changes(self) -> dict[str, Any]:
        """The facts as typed, by field name."""
        return {name: value for name, value in self.cleaned_data.items() if name in self.facts}

    def saved(self, act: Callable[[], T]) -> T | None:
        """What `act` gave back; None where what was typed is wrong or refused, which then stands beside its field.

        After somebody else's change the form tells what the row holds now, and sent once more it counts.
        """
        if not self.is_valid():
            return None
        try:
            return act()
        except ConflictError as error:
            self.add_error(None, str(error))
            if self.instance.pk:
                self.show_what_stands(type(self.instance)._default_manager.get(pk=self.instance.pk))  # noqa: SLF001 - Django's public name
        except BenchwardError as error:
            put_beside(self, error)
        return None

    def show_what_stands(self, row: models.Model) -> None:
        """After a conflict: tell what `row` holds now where it differs from what was typed; the next saving counts."""
        typed = self.changes()
        differing = [name for name in typed if getattr(row, name) != typed[name]]
        self.stands = [(str(self.fields[name].label or name), _in_words(row, name)) for name in differing]
        self.data = {**self.data, "opened": fingerprint(row, self.facts)}


def _in_words(row: models.Model, name: str) -> str:
    display = getattr(row, f"get_{name}_display", None)
    value = display() if display else getattr(row, name)
    return "nothing" if value in (None, "") else str(value)


class PlaceForm(ActionForm):
    """A place that is there already."""

    facts = PLACE_FACTS

    class Meta:
        model = Place
        fields: tuple[str, ...] = ("name", "code", "critical", "phone")
        labels = {"code": "Short code", "critical": "Critical care"}
        help_texts = {
            "code": "Letters, digits and hyphens. Used in lists that are taken in.",
            "critical": "Said beside the place in lists.",
        }


class NewPlaceForm(PlaceForm):
    """A new place, and what it stands in."""

    parent = PlaceChoice(
        queryset=Place.objects.none(), required=False, label="Stands in", empty_label="Nothing: a site"
    )
    field_order = ("kind", "parent")

    class Meta(PlaceForm.Meta):
        fields = ("kind", "parent", *PlaceForm.Meta.fields)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        homes = open_places(Place.Kind.SITE, Place.Kind.BUILDING)
        offer(self, "parent", homes.within(person))


class PartyForm(ActionForm):
    """A maker, supplier or service provider."""

    facts = PARTY_FACTS
    code = forms.SlugField(
        label="Short code", max_length=20, required=False, help_text="Empty: one is made of the name."
    )

    class Meta:
        model = Party
        fields: tuple[str, ...] = (
            "name", "code", "makes", "supplies", "services", "contact", "email", "phone", "address",
        )  # fmt: skip
        labels = {"email": "E-mail", "makes": "Makes drivers or packs", "supplies": "Sells", "services": "Services"}
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}


class WhyForm(forms.Form):
    """A reason."""

    why = words_field("Reason", hint="It stays on record with your name.")


class DeviceForm(ActionForm):
    """The facts of a driver. Its condition, place and dues have acts of their own."""

    facts = EDITABLE
    headings: ClassVar[Mapping[str, str]] = {
        "home": "Where it belongs",
        "delivered_on": "How it was bought",
        "own_charging_hours": "Where it differs from its type",
        "why": "This change",
    }
    home = PlaceChoice(queryset=Place.objects.none(), label="Home")
    why = words_field("Reason for the change", required=False)

    class Meta:
        model = Device
        fields: tuple[str, ...] = (
            "serial_number", "udi", "di", "lot", "home", "pool", "owner", "cost_centre", "delivered_on",
            "warranty_until", "supplier", "service_provider", "price", "currency", "purchase_order",
            "own_charging_hours", "own_replacement_level", "own_service_life_months",
        )  # fmt: skip
        widgets = {
            "delivered_on": _DATE,
            "warranty_until": _DATE,
            "price": _NUMBER,
            "own_charging_hours": _NUMBER,
            "own_replacement_level": _NUMBER,
        }
        labels = {
            "own_charging_hours": "Hours to charge, of its own",
            "own_replacement_level": "Replacement level, of its own",
            "own_service_life_months": "Service life in months, of its own",
        }

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        homes = open_places().within(person)
        offer(self, "home", homes | Place.objects.filter(pk=self.instance.home_id))
        self.initial.setdefault("currency", settings.CURRENCY)
        if self.instance.pk:
            self._tell_type_values(self.instance.device_type)

    def _tell_type_values(self, device_type: DeviceType) -> None:
        """Beside each value of its own stands the type's."""
        self.fields["own_charging_hours"].help_text = _or_else(quantity(device_type.charging_hours, "h"))
        self.fields["own_replacement_level"].help_text = _or_else(quantity(device_type.replacement_level))
        self.fields["own_service_life_months"].help_text = _or_else(quantity(device_type.service_life_months, "months"))


def _or_else(value: str) -> str:
    return f"Empty: the type's, {value}."


class NewDeviceForm(DeviceForm):
    """A driver that was delivered. Its values of its own come later, if ever."""

    asset_number = forms.CharField(
        label="Asset number", max_length=30, required=False, help_text="Empty: the next free one is given."
    )
    field_order = ("device_type", "asset_number")

    class Meta(DeviceForm.Meta):
        fields = ("device_type", *(name for name in DeviceForm.Meta.fields if not name.startswith("own_")))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "device_type", types())
        del self.fields["why"]


class TransferForm(forms.Form):
    """Where a driver goes for good, when, in which condition and why."""

    to_place = PlaceChoice(queryset=Place.objects.none(), label="Its new home", empty_label="Choose a place")
    on = day_field("Handed over on")
    state = forms.CharField(
        label="Condition when handed over",
        max_length=200,
        help_text="As both looked at it: damage, cleaning, what is missing.",
    )
    why = forms.CharField(label="Why", max_length=200)
    cost_centre = alternative(
        forms.CharField(label="New cost centre", max_length=40, required=False, help_text="Empty: it stays.")
    )

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "to_place", open_places().within(person))

    def handover(self) -> Handover:
        """What was typed, for the action."""
        return Handover(**self.cleaned_data)


class TypeForm(ActionForm):
    """The facts of a type that is there already."""

    facts = TYPE_FACTS
    headings: ClassVar[Mapping[str, str]] = {
        "power": "Power and electrical safety",
        "chemistry": "Battery",
        "service_life_months": "Service life and support",
        "price": "Price, source and nomenclature",
        "why": "This change",
    }
    why = words_field("Reason for the change", required=False)

    class Meta:
        model = DeviceType
        fields: tuple[str, ...] = (
            "kind", "di", "life_support", "power", "supply", "protection", "applied_part", "chemistry",
            "pack_part_number", "charging_hours", "reference_rate", "replacement_level", "temperature_coefficient",
            "reference_temperature_c", "service_life_months", "end_of_support", "follow_maker",
            "price", "source", "nomenclature_scheme", "nomenclature_version", "nomenclature_code",
        )  # fmt: skip
        widgets = {
            "end_of_support": _DATE,
            "charging_hours": _NUMBER,
            "reference_rate": _NUMBER,
            "replacement_level": _NUMBER,
            "temperature_coefficient": _NUMBER,
            "reference_temperature_c": _NUMBER,
            "price": _NUMBER,
        }
        help_texts = {
            "replacement_level": "A pack whose runtime fraction falls under it is replaced.",
            "temperature_coefficient": "As its maker states it, 0.006 for 0.6 % more per degree. Empty: no correction.",
            "reference_temperature_c": "Only forecasts are corrected to it, never the verdict of a test.",
            "protection": "As its label or manual says; electrical safety limits depend on it.",
            "follow_maker": "A law, a contract or the maker's condition. Empty: departures may be allowed with reason.",
            "source": "The maker's document and its edition, or whose practice it is.",
        }


class NewTypeForm(TypeForm):
    """A new type of a maker who may be new too."""

    maker_name = forms.CharField(label="Maker", max_length=80)
    field_order = ("maker_name", "model", "configuration")

    class Meta(TypeForm.Meta):
        fields = ("model", "configuration", *TypeForm.Meta.fields)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["why"]


class RuntimeRow(forms.Form):
    """One rated runtime; a row emptied is a runtime dropped."""

    rate = forms.DecimalField(
        label="Rate, mL/h", min_value=0, max_digits=7, decimal_places=2, widget=_NUMBER, required=False
    )
    hours = forms.DecimalField(
        label="Hours", min_value=0, max_digits=6, decimal_places=2, widget=_NUMBER, required=False
    )

    def clean(self) -> dict[str, Any]:
        """Refuse half a row."""
        data = super().clean() or {}
        for one, other in (("rate", "hours"), ("hours", "rate")):
            if data.get(one) is not None and other in data and data[other] is None:
                self.add_error(other, "Give both, or empty the row.")
        return data


class AccessoryRow(forms.Form):
    """One thing that belongs to each driver of the type; a row without a name is dropped."""

    name = forms.CharField(label="What", max_length=60, required=False)
    quantity = forms.IntegerField(label="How many", min_value=1, max_value=99, initial=1)


class EachOnce(forms.BaseFormSet):
    """Rows of which each says something else in its first field."""

    def clean(self) -> None:
        """Refuse the same rate, or the same name, twice."""
        first = next(iter(self.form.base_fields))
        said = [row.cleaned_data.get(first) for row in self.forms if hasattr(row, "cleaned_data")]
        twice = sorted({str(value) for value in said if value not in (None, "") and said.count(value) > 1})
        if twice:
            raise forms.ValidationError(f"{twice[0]} stands in two rows. Keep one.")


RuntimeRows = forms.formset_factory(RuntimeRow, formset=EachOnce, extra=3)
AccessoryRows = forms.formset_factory(AccessoryRow, formset=EachOnce, extra=2)
