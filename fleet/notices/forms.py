"""What is typed in about a notice, its drivers and what was done about them."""

import re
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from django import forms

from fleet.notices.actions import FACTS, Answer, Which
from fleet.notices.models import Affected, Edition, Notice
from fleet.registry.forms import ActionForm, PlaceChoice
from fleet.registry.models import DeviceType, Place
from fleet.registry.queries import types
from fleet.web.forms import alternative, day_field, offer, words_field
from fleet.web.uploads import UploadField

_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_LISTED = re.compile(r"[,;\n]+")
_NOTHING_CHOSEN = [("", "Choose")]


class EditionForm(ActionForm):
    """What a notice says, and the file it came as."""

    facts = FACTS
    headings: ClassVar[Mapping[str, str]] = {"gravity": "What it asks for", "file": "The paper itself"}
    gravity = forms.ChoiceField(label="How grave it is", choices=[*_NOTHING_CHOSEN, *Edition.Gravity.choices])
    action = forms.ChoiceField(label="What to do", choices=[*_NOTHING_CHOSEN, *Edition.Action.choices])
    by_when = alternative(day_field("To be done by", required=False, hint="Empty: it names no day."))
    file = UploadField(
        label="The notice as it was received",
        required=False,
        help_text="A PDF or a photo of it.",
        widget=forms.ClearableFileInput(attrs={"accept": "application/pdf,image/jpeg,image/png"}),
    )

    class Meta:
        model = Edition
        fields = FACTS
        widgets = {"issued_on": _DATE, "received_on": _DATE, "words": forms.Textarea(attrs={"rows": 5})}
        labels = {
            "reference": "The issuer's reference",
            "source": "Where it came from",
            "on_the_spot": "It can be done where the driver stands",
            "raises_orders": "Raise an order for each driver that can be found",
        }
        help_texts = {
            "issuer": "The maker, or which authority.",
            "source": "By post, by e-mail, from the authority's list.",
            "words": "As a technician is to read it. The notice itself decides.",
            "on_the_spot": "Then a visit round says so, and the driver need not come to the bench.",
            "raises_orders": "A driver with such an order goes back to service only when it is finished.",
            "take_along": "Read out in what to carry on a visit round.",
            "changes": "In a sentence: what was wrong, or is new.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Ask what is corrected from the second edition on."""
        super().__init__(*args, **kwargs)
        alternative(self.fields["file"])
        alternative(self.fields["take_along"])
        if self.instance.pk is None or self.instance.number == 1:
            del self.fields["changes"]
        else:
            self.fields["changes"].required = True


class TypeChoice(forms.ModelChoiceField):
    """A device type with its maker."""

    def label_from_instance(self, obj: Any) -> str:
        """The maker, the model, the configuration."""
        return str(obj)


class CriterionForm(forms.Form):
    """Which drivers: a type, and what narrows it down."""

    device_type = TypeChoice(DeviceType.objects.none(), label="Device type", empty_label="Choose")
    serial_from = alternative(forms.CharField(label="Serial numbers from", max_length=40, required=False))
    serial_to = alternative(
        forms.CharField(
            label="to, both ends included",
            max_length=40,
            required=False,
            help_text="Digits are compared as numbers: T9 comes before T10, and T0012 equals T12.",
        )
    )
    serials = alternative(words_field("Or single serial numbers", required=False, hint="With commas, or one a line."))
    software = alternative(
        forms.CharField(
            label="Software versions",
            max_length=200,
            required=False,
            help_text="With commas. A driver whose version nobody has read counts until somebody looks.",
        )
    )
    pack_part_number = alternative(
        forms.CharField(
            label="Part number of its pack",
            max_length=40,
            required=False,
            help_text="Only where the notice is about packs.",
        )
    )
    code_from = alternative(forms.CharField(label="Date codes of packs from", max_length=20, required=False))
    code_to = alternative(forms.CharField(label="to", max_length=20, required=False))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the types."""
        super().__init__(*args, **kwargs)
        offer(self, "device_type", types())

    def which(self) -> Which:
        """What was typed, for the action."""
        typed: dict[str, Any] = {
            name: value.strip() if isinstance(value, str) else value for name, value in self.cleaned_data.items()
        }
        return Which(**{**typed, "serials": _several(typed["serials"]), "software": _several(typed["software"])})


def _several(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(part.strip() for part in _LISTED.split(text) if part.strip()))


class CloseForm(forms.Form):
    """How a notice ends, and why."""

    how = forms.ChoiceField(label="Why it ends", widget=forms.RadioSelect)
    why = alternative(
        words_field("In words", required=False, hint="Needed where drivers are not located, or it was not carried out.")
    )

    def __init__(self, *args: Any, notice: Notice, **kwargs: Any) -> None:
        """Offer the endings that its state knows."""
        super().__init__(*args, **kwargs)
        draft = notice.state == Notice.State.DRAFT
        ways = [each for each in Notice.Closed if (each is Notice.Closed.UNUSED) is draft]
        self.fields["how"].choices = [(each.value, each.label) for each in ways]  # type: ignore[attr-defined] # a choice field


class AnswerForm(forms.Form):
    """What was done about drivers."""

    state = forms.ChoiceField(
        label="What came of it",
        choices=[(Affected.State.DONE.value, "Done"), (Affected.State.NOT_APPLYING.value, "Does not apply to it")],
        widget=forms.RadioSelect,
    )
    what = forms.CharField(
        label="What was done, or why it does not apply", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    done_on = alternative(day_field("On", required=False, hint="Empty: today."))
    evidence = alternative(
        forms.CharField(
            label="Evidence",
            max_length=200,
            required=False,
            help_text="Number of the part, version read off the screen, delivery note.",
        )
    )

    def answer(self) -> Answer:
        """What was typed, for the action."""
        return Answer(**self.cleaned_data)


class WhyForm(forms.Form):
    """A reason that stays on record."""

    why = words_field("Reason", hint="It stays on record with your name.")


class SearchForm(forms.Form):
    """How the list of notices is narrowed."""

    q = forms.CharField(label="Number, title or issuer", required=False, max_length=60)
    show = forms.CharField(required=False, widget=forms.HiddenInput)


class DriversForm(forms.Form):
    """How the drivers of a notice are narrowed."""

    q = forms.CharField(label="Driver", required=False, max_length=40)
    place = PlaceChoice(Place.objects.none(), label="Place", required=False, empty_label="Anywhere")
    show = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, places: Iterable[int], **kwargs: Any) -> None:
        """Offer the places where its drivers are."""
        super().__init__(*args, **kwargs)
        offer(self, "place", Place.objects.filter(pk__in=set(places)).select_related("site").order_by("name"))
