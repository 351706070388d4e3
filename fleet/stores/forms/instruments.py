"""What is typed in about instruments and calibrations."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms

from fleet.people.models import Person
from fleet.registry.forms import ActionForm, PlaceChoice
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.stores.actions import EDITABLE, NewCalibration
from fleet.stores.models import Calibration, Instrument
from fleet.web.forms import day_field, offer, words_field

_NUMBER = forms.NumberInput(attrs={"inputmode": "decimal"})


class InstrumentForm(ActionForm):
    """A test instrument."""

    facts = EDITABLE
    headings: ClassVar[Mapping[str, str]] = {
        "uncertainty": "What its certificates say, and how often",
        "why": "This change",
    }
    place = PlaceChoice(queryset=Place.objects.none(), label="Kept at")
    why = words_field("Reason for the change", required=False)

    class Meta:
        model = Instrument
        fields: tuple[str, ...] = (
            "number", "name", "kind", "maker", "model", "serial_number", "place", "uncertainty", "uncertainty_unit",
            "coverage_factor", "every_months", "refused_when_overdue",
        )  # fmt: skip
        widgets = {"uncertainty": _NUMBER, "coverage_factor": _NUMBER}
        help_texts = {
            "uncertainty": "The U of its certificate. Empty: not known.",
            "uncertainty_unit": "The unit of its readings, such as kPa; or % for a share of the reading.",
            "coverage_factor": "The k of its certificate, 2 for about 95 %.",
            "refused_when_overdue": "Otherwise they are taken and marked.",
        }

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = open_places(Place.Kind.BENCH, Place.Kind.STORE).within(person)
        offer(self, "place", kept | Place.objects.filter(pk=self.instance.place_id).select_related("site"))
        if not self.instance.pk:
            del self.fields["why"]


class CalibrationForm(forms.Form):
    """A calibration, as its certificate tells it."""

    done_on = day_field("Calibrated on")
    certificate = forms.CharField(label="Certificate number", max_length=60)
    laboratory = forms.CharField(label="By which laboratory", max_length=120)
    as_found = forms.ChoiceField(label="As found", choices=Calibration.AsFound.choices, widget=forms.RadioSelect)
    found_words = forms.CharField(
        label="What was found",
        max_length=200,
        required=False,
        help_text="Needed when it was out of its limits: by how much, and in which range.",
    )
    usable = forms.BooleanField(label="Within its limits when it left the laboratory", required=False, initial=True)
    due_on = day_field("Next due on", hint="Empty: by its interval.", required=False)

    def calibration(self) -> NewCalibration:
        """What was typed, for the action."""
        return NewCalibration(**self.cleaned_data)


class WhyForm(forms.Form):
    """A reason."""

    why = forms.CharField(label="Reason", max_length=200)
