"""What is typed in about flow tests, occlusion tests and limits of delivery."""

from decimal import Decimal
from typing import Any, Final

from django import forms

from fleet.bench.actions.flow import Occluded, Weighed
from fleet.bench.forms import InstrumentChoice
from fleet.bench.models import DeliveryLimit
from fleet.core.flow import Period, PressureUnit
from fleet.registry.forms import ActionForm
from fleet.registry.queries import types
from fleet.stores.models import Instrument, InstrumentQuerySet
from fleet.web.forms import NumberField, alternative, offer, words_field

#: 0.998 g/mL is water at 21 degrees Celsius, from memory; a person may change it.
WATER: Final = Decimal("0.998")
_LARGEST_FILE: Final = 8_000_000
#: A log of this size fits into a field that is sent again (the server takes fields up to 2.5 MB).
_LARGEST_SHOWN: Final = 2_000_000
_LONGEST_ALARM: Final = 24 * 60


class _SetForm(forms.Form):
    """What both tests say nothing without: the rate and the syringe; and what it was measured with."""

    rate = NumberField(label="Rate set", min_value=Decimal("0.01"), max_digits=7, decimal_places=2)
    syringe_ml = NumberField(label="Syringe", min_value=Decimal("0.1"), max_digits=4, decimal_places=1)
    instrument = InstrumentChoice(
        Instrument.objects.none(), label="Measured with", required=False, empty_label="No instrument named"
    )

    def __init__(self, *args: Any, instruments: InstrumentQuerySet, **rest: Any) -> None:
        """`instruments`: those the person may name."""
        super().__init__(*args, **rest)
        offer(self, "instrument", instruments)


class FlowForm(_SetForm):
    """A balance log, as a file or pasted, and how it is to be read."""

    file = forms.FileField(
        label="Log of the balance",
        required=False,
        help_text="A CSV file: a column of times and one of masses.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
    )
    pasted = forms.CharField(
        label="Or paste it here",
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 5, "spellcheck": "false"}),
        help_text="One reading a line, such as 0; 0.000. Times in seconds, or as 08:05:30; masses in grams. "
        "A first line may name the columns and their units.",
    )
    density = NumberField(
        label="Density", max_digits=6, decimal_places=4, initial=WATER, help_text="Water at 21 °C: 0.998, from memory."
    )
    evaporation = NumberField(
        label="Evaporation",
        min_value=0,
        max_digits=7,
        decimal_places=2,
        initial=Decimal(0),
        help_text="What the open vessel loses. Oil on the water keeps it near zero.",
    )
    period = forms.ChoiceField(
        label="Which part counts",
        choices=[("after", "All after stabilisation"), ("last_hour", "The last hour")],
        initial="after",
        widget=forms.RadioSelect,
    )
    stabilisation = forms.IntegerField(
        label="Stabilisation",
        min_value=0,
        max_value=99_999,
        initial=60,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": "7"}),
        help_text="From the start of the log. Needed unless the last hour counts.",
    )

    def __init__(self, *args: Any, **rest: Any) -> None:
        super().__init__(*args, **rest)
        for name in ("file", "pasted", "stabilisation"):
            alternative(self.fields[name])

    def clean(self) -> dict[str, Any]:
        """Exactly one log, and a stabilisation where one is asked for."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        file, pasted = cleaned.get("file"), cleaned.get("pasted", "")
        if file and pasted.strip():
            self.add_error("pasted", "There are two logs, a file and this one. Clear one of them.")
        elif not file and not pasted.strip() and "file" not in self.errors:
            self.add_error("file", "Choose the file of the balance, or paste its readings below.")
        elif file and file.size > _LARGEST_FILE:
            self.add_error(
                "file", f"The file has {file.size / 1e6:.1f} MB; at most {_LARGEST_FILE / 1e6:.0f} MB are read."
            )
        elif file:
            self._read(file)
        if cleaned.get("period") == "after" and cleaned.get("stabilisation") is None and not self.errors:
            self.add_error("stabilisation", "Say after how many minutes the flow counts; 0 for the whole log.")
        return cleaned

    def _read(self, file: Any) -> None:
        """Take the text of a file, in any of the encodings that balances write."""
        content = file.read()
        try:
            text = content.decode("utf-16" if content[:2] in {b"\xff\xfe", b"\xfe\xff"} else "utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("latin-1")
        if "\0" in text:
            self.add_error("file", "This is no text file. Save the readings as CSV first.")
            return
        self.cleaned_data["text"] = text

    def keep_log(self) -> None:
        """Before a refusal is shown: the text of the file stands in the field for pasted logs, as no file can."""
        text = self.cleaned_data.get("text", "") if hasattr(self, "cleaned_data") else ""
        if text and len(text) <= _LARGEST_SHOWN:
            self.data = {**{name: self.data[name] for name in self.data}, self.add_prefix("pasted"): text}

    def weighed(self) -> Weighed:
        """What was typed, for the action."""
        typed = self.cleaned_data
        file = typed["file"]
        return Weighed(
            rate=typed["rate"],
            syringe_ml=typed["syringe_ml"],
            log=typed["text"] if file else typed["pasted"],
            log_name=file.name if file else "pasted",
            density=typed["density"],
            evaporation=typed["evaporation"],
            period=Period(typed["stabilisation"] if typed["period"] == "after" else None),
            instrument=typed["instrument"],
        )


class OcclusionForm(_SetForm):
    """A closed line: how long until the alarm, at which pressure, and what came when it was opened."""

    level = forms.CharField(label="Alarm level set", max_length=30, help_text="As the driver shows it.")
    minutes = NumberField(
        label="Time to alarm",
        min_value=Decimal("0.01"),
        max_value=_LONGEST_ALARM,
        max_digits=7,
        decimal_places=2,
        help_text="From closing the line. 4 min 48 s is 4.8.",
    )
    pressure = forms.CharField(label="Pressure at the alarm", max_length=20)
    unit = forms.ChoiceField(label="Its unit", choices=[(unit.value, unit.label) for unit in PressureUnit])
    bolus_ml = NumberField(
        label="Bolus after release",
        required=False,
        min_value=0,
        max_digits=6,
        decimal_places=3,
        help_text="Empty: not measured.",
    )

    def __init__(self, *args: Any, **rest: Any) -> None:
        super().__init__(*args, **rest)
        alternative(self.fields["bolus_ml"])

    def occluded(self) -> Occluded:
        """What was typed, for the action."""
        typed = dict(self.cleaned_data)
        seconds, unit = round(typed.pop("minutes") * 60), PressureUnit(typed.pop("unit"))
        return Occluded(**typed, seconds_to_alarm=seconds, unit=unit)


class VoidForm(forms.Form):
    """Why a test does not count."""

    why = forms.CharField(label="Why it does not count", max_length=200)


class DeliveryLimitForm(ActionForm):
    """A limit of delivery with its source."""

    facts = ("device_type", "quantity", "rate", "syringe_ml", "low", "high", "source", "edition")

    rate = NumberField(
        label="At rate",
        required=False,
        min_value=Decimal("0.01"),
        max_digits=7,
        decimal_places=2,
        help_text="Empty: at any rate that has no limit of its own. A time to alarm needs one.",
    )
    syringe_ml = NumberField(
        label="With syringe",
        required=False,
        min_value=Decimal(1),
        max_digits=4,
        decimal_places=1,
        help_text="Empty: with any syringe that has no limit of its own. A time to alarm needs one.",
    )
    low = NumberField(label="Lower limit", required=False, max_digits=10, decimal_places=3)
    high = NumberField(label="Upper limit", required=False, max_digits=10, decimal_places=3)

    class Meta:
        model = DeliveryLimit
        fields: tuple[str, ...] = ("device_type", "quantity", "rate", "syringe_ml", "low", "high", "source", "edition")
        labels = {"device_type": "Type", "quantity": "What is limited", "edition": "Edition or date of the source"}
        help_texts = {"source": "The maker's manual, a standard; “from memory” where it was not looked up."}

    def __init__(self, *args: Any, **rest: Any) -> None:
        super().__init__(*args, **rest)
        offer(self, "device_type", types())
        for name in ("rate", "syringe_ml", "low", "high"):
            alternative(self.fields[name])

    def limit(self) -> DeliveryLimit:
        """What was typed, as a row that is not saved yet."""
        return DeliveryLimit(**self.changes())


class DropLimitForm(forms.Form):
    """A limit that holds no longer."""

    why = words_field("Why it holds no longer", hint="It stays on record; tests judged by it keep their verdict.")
