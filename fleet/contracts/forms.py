"""What is typed in about a contract, and how their list is narrowed."""

from typing import Any

from django import forms
from django.conf import settings

from fleet.contracts.actions import FACTS, Covers
from fleet.contracts.models import Contract
from fleet.people.models import Person
from fleet.registry.forms import ActionForm
from fleet.registry.models import Device, DeviceType, Party, Place
from fleet.registry.queries import open_places, types
from fleet.web.forms import NumberField, alternative, day_field, offer, words_field

_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_TICKS = forms.CheckboxSelectMultiple


class ContractForm(ActionForm):
    """A contract: with whom, on what terms, from when to when, for which drivers."""

    facts = FACTS
    kind = forms.ChoiceField(label="What it covers", choices=[("", "Choose"), *Contract.Kind.choices])
    cost_a_year = NumberField(label="Cost a year", required=False, min_value=0, max_digits=11, decimal_places=2)
    field_order = (
        "name", "reference", "kind", "party", "begins_on", "ends_on", "notice_days", "cost_a_year", "currency", "terms",
    )  # fmt: skip
    device_types = alternative(
        forms.ModelMultipleChoiceField(DeviceType.objects.none(), label="Types", required=False, widget=_TICKS)
    )
    sites = alternative(
        forms.ModelMultipleChoiceField(
            Place.objects.none(),
            label="Of these types, only drivers of these sites",
            required=False,
            widget=_TICKS,
            help_text="None ticked: wherever they belong.",
        )
    )
    listed = alternative(
        forms.CharField(
            label="Single drivers",
            required=False,
            widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
            help_text="Asset numbers, parted by spaces, commas or lines.",
        )
    )
    why = words_field("Reason for the change", required=False)

    class Meta:
        model = Contract
        fields: tuple[str, ...] = (
            "name", "reference", "kind", "party", "begins_on", "ends_on", "notice_days", "cost_a_year", "currency",
            "terms",
        )  # fmt: skip
        labels = {
            "name": "What it is called",
            "reference": "Its number",
            "party": "With whom",
            "begins_on": "First day",
            "ends_on": "Last day",
            "notice_days": "Days of notice",
            "terms": "Its terms, in short",
        }
        help_texts = {
            "notice_days": "So many days before its last day somebody must have decided on it.",
            "terms": "What is done, how soon, what is left out.",
        }
        widgets = {"begins_on": _DATE, "ends_on": _DATE, "terms": forms.Textarea(attrs={"rows": 4})}

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        """Offer types, sites of the person's, and companies."""
        super().__init__(*args, **kwargs)
        self.person = person
        offer(self, "device_types", types())
        offer(self, "sites", Place.objects.filter(pk__in=open_places().within(person).order_by().values("site")))
        self.initial.setdefault("currency", settings.CURRENCY)
        if self.instance.pk:
            row = self.instance
            self.initial["device_types"], self.initial["sites"] = row.device_types.all(), row.sites.all()
            self.initial["listed"] = ", ".join(row.devices.values_list("asset_number", flat=True))
        else:
            del self.fields["why"]

    def clean_listed(self) -> list[Device]:
        """The drivers that the numbers name, among the person's own; those that none has are told."""
        wanted = self.cleaned_data["listed"].replace(",", " ").replace(";", " ").split()
        rows = {row.asset_number.upper(): row for row in self._known(wanted)}
        if unknown := [number for number in wanted if number.upper() not in rows]:
            raise forms.ValidationError(f"No driver of your places has the number {', '.join(unknown[:5])}.")
        return list(rows.values())

    def _known(self, wanted: list[str]) -> list[Device]:
        spelled = {*wanted, *(number.upper() for number in wanted)}
        return list(Device.objects.within(self.person).filter(asset_number__in=spelled))

    def covers(self) -> Covers:
        """Which drivers, for the action."""
        typed = self.cleaned_data
        return Covers(device_types=[*typed["device_types"]], sites=[*typed["sites"]], devices=typed["listed"])


class EndForm(forms.Form):
    """Ending a contract early."""

    on = day_field("Its last day is now")
    why = forms.CharField(label="Why it ends early", max_length=200)


class ContractsForm(forms.Form):
    """How the list is narrowed."""

    q = forms.CharField(label="Name, number or company", max_length=80, required=False)
    show = forms.ChoiceField(
        label="Which", required=False, choices=[("", "Running and coming"), ("decide", "To decide on"), ("all", "All")]
    )
    company = forms.ModelChoiceField(Party.objects.all(), label="Company", required=False, empty_label="All companies")
