"""What is typed in about a due, a plan or a period."""

from datetime import date
from typing import Any, cast

from django import forms

from fleet.core.risk import Scale
from fleet.people.models import Person
from fleet.registry.forms import ActionForm, PlaceChoice
from fleet.registry.models import DeviceType, Place
from fleet.registry.queries import open_places, types
from fleet.schedules.actions import EDITABLE
from fleet.schedules.models import DueAttempt, Plan, RiskClass, TypeRisk
from fleet.schedules.queries import risk_classes
from fleet.web.forms import NumberField, alternative, day_field, moment_field, offer, words_field


class PeriodForm(forms.Form):
    """From when to when, both days in."""

    first = day_field("Windows that ended from")
    last = day_field("to")
    place = PlaceChoice(Place.objects.none(), label="At home in", required=False, empty_label="All places")
    type = forms.ModelChoiceField(DeviceType.objects.none(), label="Type", required=False, empty_label="All types")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", open_places().within(person))
        offer(self, "type", types())

    def clean(self) -> dict[str, Any]:
        """A period that ends before it begins holds nothing, which isn't what anybody means."""
        typed: dict[str, Any] = super().clean() or {}
        if {"first", "last"} <= typed.keys() and typed["last"] < typed["first"]:
            self.add_error("last", "Give the first day, or a later one.")
        return typed


class DeferForm(forms.Form):
    """Putting a due off."""

    until = day_field("Put off until", hint="The last day too: a deferral brings no second window.")
    why = words_field("Reason", hint="It stays on record with your name.")


class AttemptForm(forms.Form):
    """A visit in vain."""

    reason = forms.ChoiceField(
        label="Why it could not be done", choices=DueAttempt.Reason.choices, widget=forms.RadioSelect
    )
    place = PlaceChoice(
        queryset=Place.objects.none(),
        required=False,
        label="Where you looked",
        empty_label="Where it is on record",
        help_text="For a driver that could not be located.",
    )
    at = moment_field("When")
    note = words_field("Note", required=False, hint="No patient names.")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", open_places().within(person))
        alternative(self.fields["place"])


class IntervalForm(forms.Form):
    """An interval of the driver's own."""

    months = forms.IntegerField(
        label="Every",
        min_value=1,
        max_value=240,
        required=False,
        help_text="Leave empty for the plan's own interval.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    why = words_field("Reason")
    review_on = day_field("To be reviewed on", required=False)


_WORD = (
    "basis", "document", "maker_months", "maker_hours", "maker_cycles", "basis_reason", "basis_evidence", "basis_by",
    "basis_on", "basis_review_on", "why",
)  # fmt: skip


class PlanForm(ActionForm):
    """A plan: what, how often, on whose word. The action checks what fits together."""

    facts = EDITABLE
    why = words_field(
        "Reason for the change",
        required=False,
        hint="For a high-risk type a manager gives it: interval or window made longer, or the plan switched off.",
    )

    class Meta:
        model = Plan
        fields: tuple[str, ...] = (
            "device_type", "kind", "name", "every_months", "every_hours", "every_cycles", "window_before_days",
            "window_after_days", "repeat_days", "mode", "active", "basis", "document", "maker_months", "maker_hours",
            "maker_cycles", "basis_reason", "basis_evidence", "basis_by", "basis_on", "basis_review_on",
        )  # fmt: skip
        widgets = {
            "basis_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "basis_review_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "basis_reason": forms.Textarea(attrs={"rows": 3}),
            "basis_evidence": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {
            "every_months": "Every so many months",
            "window_before_days": "Days the window opens before",
            "window_after_days": "Days the window stays open after",
            "repeat_days": "Days after it in which a fault raises the question whether it was the cause",
            "mode": "Counted",
            "basis": "On whose word",
            "document": "Maker's document and revision",
            "maker_months": "The maker asks for it every so many months",
            "maker_hours": "The maker asks for it every so many running hours",
            "maker_cycles": "The maker asks for it every so many charge cycles",
            "basis_reason": "Why another schedule than the maker's",
            "basis_evidence": "Evidence",
            "active": "In use",
        }
        help_texts = {
            "every_months": "Give one limit or several; what comes first counts.",
            "every_hours": "By the driver's own counter, at its recent rate.",
            "every_cycles": "Of the packs while in the driver, as counted on them.",
            "maker_months": "All may stay empty where the plan follows the maker, but not of a new plan at high risk.",
            "basis_reason": "From here on: only for another schedule than the maker's.",
            "basis_evidence": "What on record shows that it is safe: services without a finding, failures.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        device_type: Any = self.fields["device_type"]
        device_type.queryset, device_type.empty_label = types(), "Choose a type"
        if self.instance.pk:
            # What is done to which type stays: a different service is a different plan.
            del self.fields["device_type"], self.fields["kind"]
        else:
            del self.fields["active"]
            self.fields["why"].label = "Reason for a longer plan"
            self.fields["why"].help_text = "Asked of a manager where a high-risk type has a shorter plan of this kind."
        for name in {*_WORD, "every_months", "every_hours", "every_cycles"} & set(self.fields):
            alternative(self.fields[name])

    @property
    def parts(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under their headings."""
        shown = [self[name] for name in self.fields if name != "opened"]
        word = [field for field in shown if field.name in _WORD]
        return [("", [field for field in shown if field.name not in _WORD]), ("On whose word", word)]


class RestartForm(forms.Form):
    """A running-hours counter that begins anew."""

    last = NumberField(
        label="The old counter read last, h",
        required=False,
        min_value=0,
        max_digits=9,
        decimal_places=1,
        help_text="Where it could still be read. Empty: what was read before.",
    )
    reads = NumberField(label="The new counter reads, h", min_value=0, max_digits=9, decimal_places=1, initial=0)
    why = words_field("What was replaced", hint="It stays on record with your name.")


class ClassChoice(forms.ModelChoiceField):
    """A class of one scale, with its points."""

    def label_from_instance(self, obj: Any) -> str:
        """The class, then its points."""
        return f"{obj}: {obj.points}"


class RiskForm(forms.Form):
    """The classes of a type, one of each scale."""

    note = words_field(
        "Why these classes", required=False, hint="What the type is used for, and by whom it was judged."
    )

    def __init__(self, *args: Any, standing: TypeRisk | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for scale in Scale:
            rows = risk_classes(scale)
            optional = scale is Scale.HISTORY
            chosen = rows.filter(label=getattr(standing, scale.value)).first() if standing else None
            self.fields[scale.value] = ClassChoice(
                queryset=rows,
                label=scale.label,
                required=not optional,
                empty_label="Left out: three terms" if optional else "Choose",
                initial=chosen,
                help_text="With it the method has four terms, and the score may differ by 2." if optional else "",
            )
            if optional:
                alternative(self.fields[scale.value])
        self.order_fields([*(scale.value for scale in Scale), "note"])

    def chosen(self) -> dict[Scale, RiskClass | None]:
        """The class of each scale."""
        return {scale: self.cleaned_data[scale.value] for scale in Scale}


class RiskClassForm(forms.Form):
    """The points of a class, and where they are printed."""

    points = forms.IntegerField(label="Points", widget=forms.NumberInput(attrs={"inputmode": "numeric"}))
    source = forms.CharField(label="Source, with its edition", max_length=200)
    checked = forms.BooleanField(label="I have read these points in the source", required=False)


class HouseRuleForm(forms.Form):
    """What the hospital decides about its planned work."""

    history_months = forms.IntegerField(
        label="An interval may be lengthened after so many months of use",
        min_value=1,
        max_value=240,
        help_text="Counted from the first accepted driver of the type. 24 is our own choice, no source gives a number.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    history_years = forms.IntegerField(
        label="With fewer driver-years of our own history only a manager lengthens it",
        min_value=1,
        max_value=100_000,
        help_text=(
            "Years of all our drivers of the type together. 50 is the least that a published worked example of an "
            "AAMI-supported task force calls a good base of experience; tentative, not verified."
        ),
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    search_attempts = forms.IntegerField(
        label="Not located after so many days on which it was looked for in vain",
        min_value=1,
        max_value=20,
        help_text="Three is common practice (from memory). Several searches on one day are one.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    search_days = forms.IntegerField(
        label="and at least so many days from the first of them to the last",
        min_value=1,
        max_value=365,
        help_text="14 is our own choice. A driver seen in between is counted anew.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    why = words_field("Reason for the change")


class ClosedDaysForm(forms.Form):
    """Days on which nobody works, and why."""

    place = PlaceChoice(queryset=Place.objects.none(), label="For the drivers at home in", empty_label="Choose a place")
    first = day_field("First day")
    last = day_field("Last day", hint="The same day for a single one.")
    reason = forms.CharField(label="Why", max_length=120, help_text="Inspection, move, holiday of the house.")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", open_places().within(person))
        if person.everywhere:
            self.fields["place"].required = False
            cast("forms.ModelChoiceField[Any]", self.fields["place"]).empty_label = "All places"
            alternative(self.fields["place"])


_MONTHS = [(number, date(2000, number, 1).strftime("%B")) for number in range(1, 13)]


class CalendarForm(forms.Form):
    """Whose public holidays a place keeps, and in which months it is open."""

    country = forms.CharField(
        label="Country of its public holidays", max_length=2, required=False, help_text="Two letters: IE, SE, NZ."
    )
    subdivision = forms.CharField(
        label="Part of the country", max_length=10, required=False, help_text="Where holidays differ: SCT, BY, QC."
    )
    opens_month = forms.TypedChoiceField(
        label="Open from the beginning of", required=False, coerce=int, empty_value=None,
        choices=[("", "The whole year"), *_MONTHS],
    )  # fmt: skip
    closes_month = forms.TypedChoiceField(
        label="to the end of", required=False, coerce=int, empty_value=None, choices=[("", "The whole year"), *_MONTHS]
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            alternative(field)

    def clean_country(self) -> str:
        """In capitals, as the standard has it."""
        return str(self.cleaned_data["country"]).strip().upper()

    def clean_subdivision(self) -> str:
        """In capitals, as the standard has it."""
        return str(self.cleaned_data["subdivision"]).strip().upper()
