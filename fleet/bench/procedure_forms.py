"""What is typed in about procedures: their name, one step, and how a draft goes on."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms

from fleet.bench.models import OrderKind, ProcedureVersion, Step
from fleet.bench.queries.faults import NUMBERS, wrong_alone
from fleet.bench.queries.lines import NewStep, OwnLimit
from fleet.core.formula import LONGEST
from fleet.core.safety import Quantity
from fleet.registry.models import DeviceType
from fleet.registry.queries import types
from fleet.stores.models import Instrument
from fleet.web.forms import NumberField, alternative, day_field, offer

#: The largest file of procedures that is read; 200 steps take some 60 kB.
LARGEST_FILE: Final = 1_000_000
_COMES_FROM: Final = "Document and edition, or that it is the hospital's own."
#: What a list of procedures is narrowed to: those with a version that somebody still has to do something about.
_OPEN_STATES: Final = (
    (ProcedureVersion.State.WAITING.value, "Waiting for approval"),
    (ProcedureVersion.State.DRAFT.value, "Being written"),
)
_MEASURED: Final = (Step.Kind.CHECK.value, Step.Kind.READING.value)


def _text(label: str, most: int, *, required: bool = False, hint: str = "", rows: int = 0) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput(attrs={"autocomplete": "off"})
    field = forms.CharField(label=label, max_length=most, required=required, help_text=hint, widget=widget)
    alternative(field)
    return field


def _type_field(label: str, empty: str) -> forms.Field:
    return forms.ModelChoiceField(DeviceType.objects.none(), label=label, required=False, empty_label=empty)


class ShelfForm(forms.Form):
    """How the list of procedures is narrowed."""

    q = forms.CharField(label="Words in it", required=False, max_length=80)
    kind = forms.ChoiceField(label="For", required=False, choices=[("", "Any work"), *OrderKind.choices])
    device_type = _type_field("Type", "All types")
    state = forms.ChoiceField(label="Version", required=False, choices=[("", "In any state"), *_OPEN_STATES])

    def __init__(self, *args: Any, **rest: Any) -> None:
        """Offer every type."""
        super().__init__(*args, **rest)
        offer(self, "device_type", types())


class BeginForm(forms.Form):
    """A new procedure: what it is called and what it is for."""

    name = _text("Name", 80, required=True, hint="What it is called on the bench, such as Yearly service.")
    kind = forms.ChoiceField(label="For which work", choices=OrderKind.choices)
    device_type = alternative(_type_field("Type of driver", "All types"))
    source = _text("Where it comes from", 200, required=True, hint=_COMES_FROM)

    def __init__(self, *args: Any, **rest: Any) -> None:
        """Offer every type."""
        super().__init__(*args, **rest)
        offer(self, "device_type", types())
        self.fields["name"].widget.attrs |= {"data-focus": ""}


class ImportForm(forms.Form):
    """A file of procedures, sent or pasted."""

    file = alternative(
        forms.FileField(label="File", required=False, widget=forms.FileInput(attrs={"accept": ".toml,.txt,text/plain"}))
    )
    pasted = alternative(
        forms.CharField(
            label="Or paste it here",
            required=False,
            max_length=LARGEST_FILE,
            widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        )
    )

    def clean(self) -> dict[str, Any]:
        """Read the file as text, where one was sent."""
        given = super().clean() or {}
        given["text"] = given.get("pasted", "")
        if sent := given.get("file"):
            given["text"] = self._read(sent)
        elif not given["text"].strip():
            self.add_error("file", "Choose a file, or paste its text.")
        return given

    def _read(self, sent: Any) -> str:
        if sent.size > LARGEST_FILE:
            self.add_error("file", "This is too large for a file of procedures; 1 MB is the most.")
            return ""
        try:
            return str(sent.read().decode("utf-8-sig"))
        except UnicodeDecodeError:
            self.add_error("file", "This is no text in UTF-8. Save it as plain text, and send it again.")
            return ""


class LineForm(forms.Form):
    """One step. Which fields there are depends on its kind."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
    words = _text("What to do", 200, required=True)
    caution = _text(
        "Caution before it", 200, hint="Stands above the step. The maker's instructions and local policy decide."
    )
    unit = _text("Unit", 16, hint="As it is read off: %, mL/h, kPa, min.")
    decimals = forms.IntegerField(
        label="Decimals at most",
        required=False,
        min_value=0,
        max_value=6,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": "3"}),
    )
    formula = _text(
        "Formula", LONGEST, hint="Numbers with a decimal point, names of steps, + - * / ( ), min, max, abs, round."
    )
    key = _text(
        "Name in formulas", 30, hint="Small letters and digits, such as volume; a later step may compute with it."
    )
    low = NumberField(label="At least", required=False, max_digits=12, decimal_places=4)
    high = NumberField(label="At most", required=False, max_digits=12, decimal_places=4)
    limit_source = _text("Source of the limits", 160, hint="Document, edition, page; and whether somebody verified it.")
    quantity = forms.ChoiceField(
        label="Judged also by the reference limits for",
        required=False,
        choices=[("", "None"), *((each.value, each.label) for each in Quantity)],
    )
    passing = _text("Options that pass, one a line", 2000, rows=3)
    failing = _text("Options that fail, one a line", 2000, rows=3)
    instrument_kind = forms.ChoiceField(
        label="Instrument that must be named", required=False, choices=[("", "None"), *Instrument.Kind.choices]
    )
    required = forms.BooleanField(label="Must pass before the driver is returned", required=False)

    def __init__(self, kind: str, data: Any, *, line: NewStep | None, revision: int) -> None:
        """`kind` of the step; `line` as it now stands, if it does; `revision` of the draft that is shown."""
        super().__init__(data, initial=_typed(line or NewStep(words="", kind=kind)) | {"revision": revision})
        self.kind = kind
        for name in _not_of(kind):
            del self.fields[name]
        for name in ("decimals", "low", "high", "quantity", "instrument_kind"):
            if name in self.fields:
                alternative(self.fields[name])
        self.fields["words"].widget.attrs |= {"data-focus": ""}

    def line(self, limits: Iterable[OwnLimit]) -> NewStep:
        """The step as typed, with its limits by type."""
        given = {name: value for name, value in self.cleaned_data.items() if name != "revision"}
        for name in ("passing", "failing"):
            if name in given:
                given[name] = tuple(filter(None, (each.strip() for each in given[name].splitlines())))
        return NewStep(**given, kind=self.kind, limits=tuple(limits))

    def refuse_wrong(self, line: NewStep) -> bool:
        """Put what is wrong with the step beside its fields; whether anything is."""
        for name, words in wrong_alone(line):
            told = words[:1].upper() + words[1:]
            self.add_error(name if name in self.fields else None, told)
        return not self.is_valid()


def _typed(line: NewStep) -> dict[str, Any]:
    given = {name: getattr(line, name) for name in LineForm.base_fields if name != "revision"}
    return given | {name: "\n".join(given[name]) for name in ("passing", "failing")}


def _not_of(kind: str) -> set[str]:
    """The fields that a kind of step does without."""
    numbers = {"unit", "decimals", "key", "low", "high", "limit_source", "quantity"}
    left = set() if kind in NUMBERS else numbers
    left |= set() if kind == Step.Kind.COMPUTED else {"formula"}
    left |= set() if kind == Step.Kind.CHOICE else {"passing", "failing"}
    return left if kind in _MEASURED else left | {"instrument_kind"}


class OwnLimitForm(forms.Form):
    """Limits of a step for one type. A row without a type is left out."""

    device_type = _type_field("Type", "No type")
    low = NumberField(label="At least", required=False, max_digits=12, decimal_places=4)
    high = NumberField(label="At most", required=False, max_digits=12, decimal_places=4)
    source = _text("Source", 160)

    def __init__(self, *args: Any, **rest: Any) -> None:
        """Offer every type."""
        super().__init__(*args, **rest)
        offer(self, "device_type", types())
        for field in self.fields.values():
            alternative(field)


OwnLimits = forms.formset_factory(OwnLimitForm, extra=1)


def own_limits(rows: Any) -> list[OwnLimit]:
    """The limits by type of a formset that is valid."""
    given = (form.cleaned_data for form in rows)
    return [OwnLimit(**each) for each in given if each.get("device_type")]


class SourceForm(forms.Form):
    """Where a procedure comes from."""

    source = _text("Where it comes from", 200, hint=_COMES_FROM)


class SubmitForm(forms.Form):
    """What a draft changes."""

    changes = _text("What changes, and why", 300, required=True, rows=2, hint="Whoever approves it reads this first.")


class ApproveForm(forms.Form):
    """From when an approved draft is in force."""

    in_force_from = day_field("In force from")
    replaces = _text("Why it takes the place of the other procedure", 300, rows=2)


class WhyForm(forms.Form):
    """A reason."""

    why = _text("Why", 300, required=True)
