"""What is typed in about a document, and how the library is narrowed."""

from typing import Any

from django import forms

from fleet.bench.models import Procedure
from fleet.documents.actions import FACTS
from fleet.documents.models import SUBJECTS, Document
from fleet.people.models import Person
from fleet.registry.forms import ActionForm
from fleet.registry.models import Device, DeviceType, Party
from fleet.registry.queries import by_code, types
from fleet.schedules.models import Plan
from fleet.stores.models import Instrument
from fleet.web.forms import alternative, offer, words_field
from fleet.web.uploads import UploadField


class PlanChoice(forms.ModelChoiceField):
    """A plan with its type beside it, since each type has a yearly service."""

    def label_from_instance(self, obj: Any) -> str:
        """The plan, then what it is for."""
        return f"{obj}, {obj.device_type}"


class DocumentForm(ActionForm):
    """A document: what it is, where it is kept, what it is about."""

    facts = FACTS
    title = forms.CharField(label="Title", max_length=160, help_text="As it stands on the document.")
    kind = forms.ChoiceField(label="Kind", choices=[("", "Choose"), *Document.Kind.choices])
    address = alternative(
        forms.URLField(
            label="Or the web address where it stands",
            required=False,
            max_length=400,
            assume_scheme="https",
            help_text="Whatever stands there may change; a file that is kept here can't.",
        )
    )
    file = alternative(UploadField(label="Photo or PDF, 12 MB at most", required=False))
    device = alternative(
        forms.CharField(label="A driver", max_length=80, required=False, help_text="Its asset or serial number.")
    )
    plan = alternative(PlanChoice(Plan.objects.none(), label="A plan", required=False, empty_label="None"))
    why = words_field("Reason for the change", required=False)
    field_order = ("title", "kind", "edition", "dated_on", "language", "file", "address", *SUBJECTS)

    class Meta:
        model = Document
        fields: tuple[str, ...] = (
            "title", "kind", "edition", "dated_on", "language", "address", "device_type", "procedure", "instrument",
            "party",
        )  # fmt: skip
        labels = {
            "edition": "Edition or revision",
            "device_type": "A type of driver",
            "procedure": "A procedure",
            "instrument": "An instrument",
            "party": "A company",
        }
        widgets = {"dated_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def __init__(self, *args: Any, person: Person, replaces: Document | None = None, **kwargs: Any) -> None:
        """Offer what the person may know of; a later edition is about what the earlier one is about."""
        super().__init__(*args, **kwargs)
        self.person = person
        offer(self, "plan", Plan.objects.select_related("device_type__maker"))
        offer(self, "device_type", types())
        offer(self, "instrument", Instrument.objects.within(person))
        for name in SUBJECTS:
            field = self.fields[name]
            alternative(field)
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = "None"
        if replaces is not None:
            for name in SUBJECTS:
                del self.fields[name]
        self._of_a_row()

    def _of_a_row(self) -> None:
        if not self.instance.pk:
            del self.fields["why"]
            return
        del self.fields["file"]
        if hasattr(self.instance, "file"):
            del self.fields["address"]
        self.initial["device"] = self.instance.device.asset_number if self.instance.device else ""
        self.initial["plan"] = self.instance.plan_id

    def clean_device(self) -> Device | None:
        """The driver that the number names, among the person's own."""
        text = self.cleaned_data["device"].strip()
        if not text:
            return None
        found = by_code(text)
        if found is None or not Device.objects.within(self.person).filter(pk=found.pk).exists():
            raise forms.ValidationError(f"No driver of your places has the number “{text}”.")
        return found

    @property
    def parts(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under their headings."""
        about = [self[name] for name in SUBJECTS if name in self.fields]
        first = [self[name] for name in self.fields if name not in {*SUBJECTS, "opened"}]
        return [("", first), *([("What it is about", about)] if about else [])]


class WithdrawForm(forms.Form):
    """Why a document counts no more."""

    why = forms.CharField(label="Why it counts no more", max_length=200)


class LibraryForm(forms.Form):
    """How the library is narrowed."""

    q = forms.CharField(label="Words", max_length=80, required=False)
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "Every kind"), *Document.Kind.choices])
    type = forms.ModelChoiceField(DeviceType.objects.none(), label="Type", required=False, empty_label="All types")
    procedure = forms.ModelChoiceField(
        Procedure.objects.all(), label="Procedure", required=False, empty_label="All procedures"
    )
    company = forms.ModelChoiceField(Party.objects.all(), label="Company", required=False, empty_label="All companies")
    show = forms.ChoiceField(
        label="Editions", required=False, choices=[("", "In force"), ("all", "Replaced and withdrawn too")]
    )
    # Where another page's link leads, so that narrowing further does not undo it.
    device = forms.CharField(widget=forms.HiddenInput, required=False)
    instrument = forms.IntegerField(widget=forms.HiddenInput, required=False)
    plan = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the types."""
        super().__init__(*args, **kwargs)
        offer(self, "type", types())
