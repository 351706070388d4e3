"""What a ward, a technician and a manager type in about tags and quarantines."""

import uuid
from typing import Any

from django import forms
from django.db.models import Field

from fleet.alerts.models import AlertKind
from fleet.alerts.queries import kinds
from fleet.registry.models import Place
from fleet.tags.actions import Custody
from fleet.tags.models import CustodyEntry, Decontamination, Quarantine, TagReport, YesNo
from fleet.tags.report import Report
from fleet.web.forms import day_field, offer, words_field

NO_NAMES = "No patient names."
_MOMENT = "%Y-%m-%dT%H:%M"


def _longest(column: Any) -> int | None:
    field: Field[Any, Any] = column.field
    return field.max_length


def _line(column: Any, label: str, *, required: bool = False, hint: str = "", **attrs: str) -> forms.CharField:
    """One line of text, as long as its column."""
    return forms.CharField(
        label=label,
        max_length=_longest(column),
        required=required,
        help_text=hint,
        error_messages={"required": "Write this down too."},
        widget=forms.TextInput(attrs=attrs),
    )


def _cards(label: str, choices: Any, *, hint: str = "", required: bool = True) -> forms.ChoiceField:
    """A question answered by one tap."""
    return forms.ChoiceField(
        label=label,
        choices=choices,
        help_text=hint,
        required=required,
        error_messages={"required": "Choose one."},
        widget=forms.RadioSelect,
    )


def _moment(label: str) -> forms.DateTimeField:
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=_MOMENT)
    return forms.DateTimeField(label=label, required=False, widget=widget, help_text="Leave empty if it was just now.")


class ReportForm(forms.Form):
    """A ward's report, in the order of the night: the patient's harm first, then what happened, then who and where."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    harm = _cards("Was anyone harmed, or might they have been?", YesNo.choices, hint="Unsure is an answer.")
    what = _cards("What happened?", [each for each in TagReport.What.choices if each[0] != TagReport.What.IN_USE])
    connected = _cards("Was it connected to a patient?", YesNo.choices)
    place = forms.ModelChoiceField(Place.objects.none(), label="Which ward is it in?")
    where = _line(TagReport.where, "Where is it now?", required=True, hint="Bed, bay, room or shelf.")
    reporter = _line(TagReport.reporter, "Who reports?", required=True, autocomplete="name")
    reach = _line(TagReport.reach, "How to reach you", required=True, hint="Phone, bleep or ward.", autocomplete="tel")
    words = forms.CharField(
        label="In your words",
        required=False,
        help_text=f"{NO_NAMES} Rate set, amount given, mains or battery, syringe make and size.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    screen_text = _line(TagReport.screen_text, "What the screen said", hint=NO_NAMES)
    alert_kinds = forms.ModelMultipleChoiceField(
        AlertKind.objects.none(), label="What it alerted to", required=False, widget=forms.CheckboxSelectMultiple
    )
    goes_along = _line(TagReport.goes_along, "What goes along with it", hint="Syringe, line, lock box, mains lead.")
    decontamination = _cards(
        "Was it cleaned?",
        Decontamination.choices,
        required=False,
        hint="After possible harm, don't clean it. Otherwise clean it as local policy says, or bag it and say so.",
    )
    incident_reference = _line(TagReport.incident_reference, "Local incident number", hint=NO_NAMES)
    happened_at = _moment("When it happened")

    #: What stays folded away until it is asked for.
    DETAILS = (
        "words", "screen_text", "alert_kinds", "goes_along", "decontamination", "incident_reference", "happened_at",
    )  # fmt: skip
    #: What the next report of the same session starts from. Not where the driver is: the bench would look in vain.
    KEPT = ("reporter", "reach")

    def __init__(self, data: Any = None, *, initial: dict[str, Any], wards: Any = None) -> None:
        """`wards`: the places to choose from; None on a label, where the spot is told in words alone."""
        first = {"key": uuid.uuid4(), "decontamination": Decontamination.UNKNOWN.value, **initial}
        super().__init__(data, initial=first)
        offer(self, "alert_kinds", kinds())
        if wards is None:
            del self.fields["place"]
            self.fields["where"].help_text = "Ward, and bed, bay, room or shelf."
        else:
            offer(self, "place", wards)

    def clean_decontamination(self) -> str:
        """Nothing chosen is "Not stated", which stays visible."""
        return self.cleaned_data["decontamination"] or Decontamination.UNKNOWN.value

    def details(self) -> list[forms.BoundField]:
        """The fields that stay folded away."""
        return [self[name] for name in self.DETAILS]

    def details_open(self) -> bool:
        """Whether one of the folded fields is wrong, so that it must be seen."""
        return any(name in self.errors for name in self.DETAILS)

    def report(self, place: Place | None) -> Report:
        """What was typed, for the action; `place` is what the label page made of the words."""
        return Report(**{"place": place, **self.cleaned_data, "alert_kinds": tuple(self.cleaned_data["alert_kinds"])})


class MissingForm(forms.Form):
    """A search in vain: where, and what was looked through."""

    place = forms.ModelChoiceField(Place.objects.none(), label="Where did you look?")
    why = forms.CharField(
        label="What did you look through, and whom did you ask?",
        required=False,
        help_text=NO_NAMES,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    certain = forms.BooleanField(
        label="It is lost for certain: record it as not located now",
        required=False,
        help_text="Stolen, thrown away, gone with a patient. Say how that is known.",
    )

    def __init__(self, *args: Any, places: Any, may_be_certain: bool, **rest: Any) -> None:
        """`places`: those the person sees; only some may give a driver up at once."""
        super().__init__(*args, **rest)
        offer(self, "place", places)
        if not may_be_certain:
            del self.fields["certain"]


class FoundForm(forms.Form):
    """Where a missing driver was found."""

    place = forms.ModelChoiceField(Place.objects.none(), label="Where is it now?")

    def __init__(self, *args: Any, places: Any, **rest: Any) -> None:
        """`places`: those the person sees."""
        super().__init__(*args, **rest)
        offer(self, "place", places)


class CustodyForm(forms.Form):
    """One line of the custody record."""

    given_by = _line(CustodyEntry.given_by, "Given by")
    received_by = _line(CustodyEntry.received_by, "Who has it now", required=True)
    purpose = _line(
        CustodyEntry.purpose, "What for", required=True, hint=f"Locked away, photographed, log read. {NO_NAMES}"
    )
    kept_along = _line(CustodyEntry.kept_along, "Kept along with it", hint="Syringe, line, lock box, packaging.")
    kept_where = _line(Quarantine.kept_where, "Kept where from now on")
    happened_at = _moment("When")

    def custody(self) -> Custody:
        """What was typed, for the action."""
        return Custody(**self.cleaned_data)


class IncidentForm(forms.Form):
    """The number that the local incident system gave."""

    incident_reference = _line(Quarantine.incident_reference, "Local incident number", required=True, hint=NO_NAMES)


class AwareForm(forms.Form):
    """The day the hospital became aware, where it was not the day of the report."""

    aware_on = day_field("Hospital aware on")
    why = words_field("How that is known", hint=NO_NAMES)


class LiftForm(forms.Form):
    """Why a quarantine ends."""

    why = forms.CharField(
        label="Who released it, and on what ground?",
        help_text=f"Name the decision of your incident process. {NO_NAMES}",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
