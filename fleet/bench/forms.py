"""What a technician types in at the bench."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import Any
from uuid import uuid4

from django import forms

from fleet.bench.actions import Answer, Completion
from fleet.bench.models import Order, OrderKind, Reading, Step
from fleet.bench.queries.judging import Judges
from fleet.core.calibration import DueState
from fleet.core.orders import ABSENT_OUTCOMES, Outcome, outcome_label
from fleet.core.safety import CONTEXT_WORDS, DEPENDS_ON, AppliedPart, Context, Method, Protection
from fleet.core.words import Worded
from fleet.people.proof import password_field
from fleet.registry.models import Place
from fleet.stores.models import Instrument, InstrumentQuerySet
from fleet.stores.queries import state_of
from fleet.tags.models import Decontamination
from fleet.web import clock
from fleet.web.forms import NumberField, alternative, offer
from fleet.web.uploads import UploadField

NO_NAMES = "No patient names."
#: The words by which a step, or its caution, asks for something in the note of its answer.
IN_THE_NOTE = "in the note"
_BY_LIMITS = "limits"
_OPTION = "option-"
_REPAIR_NEEDS = f"Needed for “{Outcome.REPAIRED.label}”. For “{Outcome.RETIRED.label}”: the reason."
#: Kinds whose answer is chosen, and whose verdict follows from it.
_ASKS = (Step.Kind.CHOICE, Step.Kind.COMPUTED)
#: Codes that some orders ask for at their end.
CODES = frozenset({"finding", "caused_by_work"})


def _words(label: str, *, rows: int = 2, required: bool = False, hint: str = "") -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(label=label, required=required, help_text=hint, widget=widget)


def _places(label: str) -> forms.ModelChoiceField:
    return forms.ModelChoiceField(Place.objects.none(), label=label)


def _one_of(kind: Iterable[Worded], label: str) -> forms.ChoiceField:
    choices = [("", "Choose one"), *((each.value, each.label) for each in kind)]
    return forms.ChoiceField(label=label, required=False, choices=choices)


class ReceiveForm(forms.Form):
    """Taking a driver in: where, for what, and whether it was cleaned."""

    bench = _places("Bench")
    kind = forms.ChoiceField(label="Here for", choices=OrderKind.choices)
    decontamination = forms.ChoiceField(label="Was it cleaned?", choices=Decontamination.choices)

    def __init__(self, *args: Any, benches: Any, **rest: Any) -> None:
        """`benches`: those the person sees."""
        super().__init__(*args, **rest)
        offer(self, "bench", benches)


class InstrumentChoice(forms.ModelChoiceField):
    """A test instrument, with what stands against using it beside it."""

    def label_from_instance(self, obj: Any) -> str:
        """Number and name, and its calibration where it is not in date."""
        state = state_of(obj, clock.today())
        return str(obj) if state in {DueState.IN_DATE, DueState.SOON} else f"{obj} ({state.phrase})"


class StepForm(forms.Form):
    """The answer at one step. What is asked for depends on the step's kind; `revision` is that of the order shown."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
    value = forms.CharField(label="Reading", required=False, max_length=40)
    verdict = forms.ChoiceField(label="Verdict", required=False)
    note = forms.CharField(label="Note", required=False)
    changed = forms.CharField(label="What changed since it failed", required=False, max_length=200)
    file = UploadField(label="Photo or PDF", required=False)
    instrument = InstrumentChoice(
        Instrument.objects.none(), label="Measured with", required=False, empty_label="No instrument named"
    )
    protection = _one_of(Protection, "Class of protection")
    applied_part = _one_of(AppliedPart, "Type of applied part")
    method = _one_of(Method, "Method")
    mains_v = NumberField(label="Mains voltage", required=False, min_value=1, max_digits=5, decimal_places=1)

    def __init__(  # noqa: PLR0913 - what its page knows of a step
        self,
        step: Step,
        *args: Any,
        judges: Judges,
        before: Context | None = None,
        instruments: InstrumentQuerySet | None = None,
        used: Instrument | None = None,
        failed: bool = False,
        **rest: Any,
    ) -> None:
        """The choices of the step's kind: limits judge a reading, a person judges a check.

        `instruments`: what it may be measured with; None where nothing is measured. `used`: the one named when shown.
        `judges`: of the driver; `before`: how the same was measured last here. `failed`: a pass says what changed.
        """
        super().__init__(*args, **rest)
        self.step = step
        if not failed:
            del self.fields["changed"]
        known = judges.context(step, Context())
        # How it was measured last on this bench is proposed, not assumed: it is shown in its field.
        self._ask_context(judges.not_told(step, known), before or Context())
        self.limits = any(way.effective for way in judges.ways(step, judges.context(step, self.context())))
        if instruments is None:
            del self.fields["instrument"]
        else:
            offer(self, "instrument", instruments)
            self.initial["instrument"] = used
            # A step that needs none is worked without an extra stop of the keyboard; the key i leads there.
            self.fields["instrument"].widget.attrs |= {} if step.instrument_kind else {"tabindex": "-1"}
        self.fields["verdict"].choices = self.verdicts()  # type: ignore[attr-defined] # a choice field

    def key(self) -> str:
        """A name for the one answer that this form will send: sent twice, it is one answer."""
        return uuid4().hex

    def _ask_context(self, asks: Collection[str], before: Context) -> None:
        """Keep the fields of what nobody has stated yet of how it is measured."""
        for name in CONTEXT_WORDS:
            if name in asks:
                alternative(self.fields[name])
            else:
                del self.fields[name]
        held = {name: getattr(before, name) for name in CONTEXT_WORDS if name in self.fields}
        self.initial = {**self.initial, **{name: value for name, value in held.items() if value}}
        self.asks_context = bool(held)

    def context(self) -> Context:
        """What the test was made on and how, as typed or proposed so far."""
        given = self.data if self.is_bound else self.initial
        told = {name: str(given.get(name) or "") if name in self.fields else "" for name in DEPENDS_ON}
        return Context(told["protection"], told["applied_part"], told["method"])

    def verdicts(self) -> list[tuple[str, str]]:
        """What may be chosen."""
        if self.step.kind in _ASKS:
            return [*self._options(), (Reading.Verdict.NOT_APPLICABLE.value, "Not applicable")]
        if self.limits:
            return [(_BY_LIMITS, "Judge by its limits"), (Reading.Verdict.NOT_APPLICABLE.value, "Not applicable")]
        by_person = [each for each in Reading.Verdict if each != Reading.Verdict.NOT_PROVEN]
        return [(verdict.value, str(verdict.label)) for verdict in by_person]

    def _options(self) -> list[tuple[str, str]]:
        if self.step.kind == Step.Kind.COMPUTED:
            return [(_BY_LIMITS, "Work it out")]
        options = [*self.step.passing, *self.step.failing]
        return [(f"{_OPTION}{index}", option) for index, option in enumerate(options)]

    def chosen(self) -> str:
        """What is chosen when shown: to be judged by its limits where there are any; a person's verdict never is."""
        if self.is_bound:
            return str(self.data.get("verdict", ""))
        return "" if self.asks_verdict else _BY_LIMITS

    @property
    def chosen_words(self) -> str:
        """What is chosen, as it is shown."""
        return dict(self.verdicts()).get(self.chosen(), "")

    @property
    def asks_verdict(self) -> bool:
        """Whether a person judges, so that nothing may be chosen for them."""
        return self.step.kind == Step.Kind.CHOICE or not (self.limits or self.step.kind == Step.Kind.COMPUTED)

    @property
    def asks_note(self) -> bool:
        """Whether the step itself asks for something in the note, as for the syringe that a rate depends on."""
        return IN_THE_NOTE in f"{self.step.words} {self.step.caution}".lower()

    def clean(self) -> dict[str, Any]:
        """Where a person judges, they have said how; a note that the step asks for is there."""
        typed: dict[str, Any] = super().clean() or {}
        if self.asks_verdict and not typed.get("verdict") and "verdict" not in self.errors:
            self.add_error("verdict", f"Choose one: {', '.join(label for _, label in self.verdicts())}.")
        if self.asks_note and not typed.get("note", "").strip():
            self.add_error("note", f"The step asks for it: {self.step.caution or self.step.words}.")
        return typed

    def answer(self) -> Answer:
        """What was typed, for the action."""
        verdict = self.cleaned_data["verdict"]
        judged = {Reading.Verdict.PASS.value: True, Reading.Verdict.FAIL.value: False}
        return Answer(
            value=self.cleaned_data["value"],
            passed=judged.get(verdict),
            na=verdict == Reading.Verdict.NOT_APPLICABLE.value,
            note=self.cleaned_data["note"],
            chosen=dict(self._options()).get(verdict, "") if self.step.kind == Step.Kind.CHOICE else "",
            file=self.cleaned_data.get("file"),
            instrument=self.cleaned_data.get("instrument"),
            context=replace(self.context(), mains_v=self.cleaned_data.get("mains_v")),
            changed=self.cleaned_data.get("changed", ""),
        )


class FinishForm(forms.Form):
    """How an order ends."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
    outcome = forms.ChoiceField(label="Outcome", widget=forms.RadioSelect(attrs={"data-focus": ""}))
    found = forms.ChoiceField(
        label="What was found", required=False, choices=[("", "Not stated"), *Order.Found.choices]
    )
    found_words = _words("What you found, in words", hint=NO_NAMES)
    cause_kind = forms.ChoiceField(label="Cause", required=False, choices=[("", "Not stated"), *Order.Cause.choices])
    cause = forms.CharField(label="The cause, in words", required=False, max_length=200)
    finding = alternative(
        forms.ChoiceField(
            label="What did this service come upon?",
            required=False,
            choices=Order.Finding.choices,
            widget=forms.RadioSelect,
            help_text="The interval of this service is judged by these answers.",
        )
    )
    caused_by_work = alternative(
        forms.ChoiceField(
            label="Did the work before cause this fault?",
            required=False,
            choices=Order.Caused.choices,
            widget=forms.RadioSelect,
            help_text="Proposed only because it was so shortly before; you judge it.",
        )
    )
    action_kind = forms.ChoiceField(
        label="What was done", required=False, choices=[("", "Not stated"), *Order.Action.choices]
    )
    action_taken = alternative(
        _words("What you did", hint="When it is retired: the reason. Else what helps whoever works on it next.")
    )
    minutes = alternative(
        forms.IntegerField(
            label="Hands-on minutes not entered yet, if any",
            required=False,
            min_value=1,
            max_value=24 * 60,
            widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        )
    )
    returned_to = _places("Where it goes")
    stays = forms.BooleanField(label="It stays on the bench for its other order", required=False)
    password = password_field(hint="It stands for your name under this record.")

    def __init__(
        self,
        *args: Any,
        places: Any,
        may_retire: bool,
        has_others: bool,
        asks: Collection[str] = (),
        is_repair: bool = False,
        **rest: Any,
    ) -> None:
        """`places`: where drivers go. Retiring is offered to those who may; staying where another order is open.

        `asks`: which of `CODES` this order must answer, unless it ends without the driver. `is_repair`: whether the
        outcome “repaired” must say what was done.
        """
        super().__init__(*args, **rest)
        self.is_repair = is_repair
        if is_repair:
            self.fields["action_taken"].help_text = _REPAIR_NEEDS
        outcomes = [outcome for outcome in Outcome if may_retire or outcome is not Outcome.RETIRED]
        self.fields["outcome"].choices = [  # type: ignore[attr-defined] # a choice field
            (outcome.value, outcome.label) for outcome in outcomes
        ]
        offer(self, "returned_to", places)
        if not has_others:
            del self.fields["stays"]
        for name in set(CODES) - set(asks):
            del self.fields[name]

    def clean(self) -> dict[str, Any]:
        """A code that is asked for is answered, unless nobody had the driver in hand; a repair says what was done."""
        typed: dict[str, Any] = super().clean() or {}
        if self.is_repair and typed.get("outcome") == Outcome.REPAIRED and not typed.get("action_taken", "").strip():
            self.add_error("action_taken", "Say what you did: a repair is not finished without it.")
        if typed.get("outcome") not in {outcome.value for outcome in ABSENT_OUTCOMES}:
            for name in CODES & self.fields.keys():
                if not typed.get(name):
                    self.add_error(name, "Choose one.")
        return typed

    def name_outcomes(self, kind: str) -> None:
        """Put each outcome in the words of this kind of work."""
        field = self.fields["outcome"]
        field.choices = [(value, outcome_label(Outcome(value), kind)) for value, _ in field.choices]  # type: ignore[attr-defined] # a choice field

    def completion(self) -> Completion:
        """What was typed, for the action."""
        given = {name: value for name, value in self.cleaned_data.items() if name not in {"revision", "password"}}
        return Completion(**{**given, "outcome": Outcome(given["outcome"])})


class SignForm(forms.Form):
    """The password that signs, on the revision of the order that was read."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
    password = password_field(hint="It stands for your name under this record.")


class QueueForm(forms.Form):
    """How the queue is narrowed."""

    whose = forms.ChoiceField(
        label="Whose",
        required=False,
        choices=[("", "Everybody's"), ("mine", "Mine"), ("nobody", "Nobody's")],
    )
    kind = forms.ChoiceField(label="Here for", required=False, choices=[("", "Anything"), *OrderKind.choices])
    site = forms.ModelChoiceField(Place.objects.none(), label="Site", required=False, empty_label="All sites")

    def __init__(self, *args: Any, sites: Any, **rest: Any) -> None:
        """`sites`: those the person sees."""
        super().__init__(*args, **rest)
        offer(self, "site", sites)
