"""What the hospital decides about its batteries, as it is typed: limits in percent, levels in words."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from fleet.audit.changes import fingerprint
from fleet.batteries.actions import LIFE_FACTS, LIMIT_FACTS, SUPPLY_FACTS
from fleet.batteries.models import ChemistryLife, PackSupply, RiskLimit
from fleet.batteries.policy_wording import SERVICE_LEVELS
from fleet.registry.forms import ActionForm
from fleet.registry.models import Device, Party
from fleet.web.forms import NumberField, alternative, day_field, words_field

_LEAST, _MOST = Decimal("0.005"), Decimal("0.5")
_CENT = Decimal("0.01")
_LONGEST_WHY = 200
_WHOLE = forms.NumberInput(attrs={"inputmode": "numeric"})


class PercentField(NumberField):
    """A chance, typed in percent and kept as a fraction with three decimals."""

    def to_python(self, value: Any) -> Any:
        """Read the number of percent."""
        percent = super().to_python(value)
        return percent / 100 if isinstance(percent, Decimal) else percent

    def prepare_value(self, value: Any) -> Any:
        """Show a fraction in percent; what was typed stays as it was."""
        return super().prepare_value(value * 100) if isinstance(value, Decimal) else value


def _price(label: str, hint: str) -> forms.Field:
    field = NumberField(label=label, max_digits=10, decimal_places=2, min_value=_CENT, required=False, help_text=hint)
    return alternative(field)


class LimitForm(ActionForm):
    """A risk limit that stands: how large a chance, what failures and tests cost, and whether tests may be skipped."""

    facts = LIMIT_FACTS
    limit = PercentField(
        label="Risk limit",
        validators=[
            MinValueValidator(_LEAST, "Give at least 0.5 %%: a smaller chance cannot be told from a few tests a pack."),
            MaxValueValidator(_MOST, "Give at most 50 %%."),
        ],
        help_text="10 % is 1 in 10: of ten packs left in with that chance, one falls under its level before its visit.",
    )
    failure_price = _price(
        "Price of a driver that fails in use",
        "With it and the price of a pack the limit follows from them, up to the limit above. Empty: not weighed.",
    )
    test_price = _price("Price of a runtime test", "The bench's time, the wait of the driver. Empty: not weighed.")
    longest_untested_months = forms.IntegerField(
        label="A pack goes without a full test for at most", min_value=1, max_value=120, widget=_WHOLE,
        help_text="Whatever the forecast says.",
    )  # fmt: skip
    why = words_field("Why this limit", hint="One or two sentences. They stand beside the limit with your name.")

    class Meta:
        model = RiskLimit
        fields: tuple[str, ...] = (
            "limit", "failure_price", "test_price", "may_skip_tests", "longest_untested_months", "why",
        )  # fmt: skip
        labels = {"may_skip_tests": "A runtime test may be skipped when the forecast is sure"}

    def clean_why(self) -> str:
        """One line of the row."""
        words = " ".join(str(self.cleaned_data["why"]).split())
        if len(words) > _LONGEST_WHY:
            raise forms.ValidationError(f"Say it in at most {_LONGEST_WHY} letters; these are {len(words)}.")
        return words


class NewLimitForm(LimitForm):
    """A limit for drivers that have none of their own yet."""

    pool = forms.ChoiceField(label="Pool", choices=[("", "Any pool"), *Device.Pool.choices], required=False)
    ward_kind = forms.ChoiceField(label="Wards", choices=RiskLimit.WardKind.choices)
    field_order = ("pool", "ward_kind")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        alternative(self.fields["pool"])


class DropForm(forms.Form):
    """A limit that holds no longer."""

    why = words_field("Why it holds no longer", hint="The limit stays on record; the next wider one takes over.")


class _FirstOrLaterForm(ActionForm):
    """A form over a row that may not be there yet: it carries what the page showed in either case."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields.setdefault("opened", forms.CharField(widget=forms.HiddenInput, required=False))
        self.initial["opened"] = fingerprint(self.instance, self.facts)


class SupplyForm(_FirstOrLaterForm):
    """How packs of a type are bought."""

    facts = SUPPLY_FACTS
    service_level = forms.TypedChoiceField(
        label="The shelf must last",
        coerce=float,
        choices=[(str(level), f"{words} times") for level, words in SERVICE_LEVELS.items()],
        help_text="How often the packs in stock are enough until the next delivery comes.",
    )
    price = _price("Price of a pack", "Empty: the middle of what the packs on record cost.")

    class Meta:
        model = PackSupply
        fields: tuple[str, ...] = ("lead_days", "service_level", "multiple", "price")
        labels = {
            "lead_days": "From order to delivery",
            "multiple": "Packs are sold in lots of",
        }
        widgets = {"lead_days": _WHOLE, "multiple": _WHOLE}


class PurchaseForm(forms.Form):
    """Packs that were ordered."""

    quantity = forms.IntegerField(label="How many", min_value=1, max_value=9999, widget=_WHOLE)
    expected_on = day_field("They are expected on")
    supplier = alternative(forms.ModelChoiceField(Party.objects.filter(supplies=True), label="From", required=False))
    reference = alternative(forms.CharField(label="Purchase number", max_length=40, required=False))


class LifeForm(_FirstOrLaterForm):
    """How long packs of a chemistry are taken to last."""

    facts = LIFE_FACTS
    life_years = NumberField(label="Years until a pack has lost a fifth of its runtime", max_digits=4, decimal_places=1)
    verified = forms.BooleanField(
        label="I have checked the years against the source named here",
        required=False,
        help_text="Your name and today's date stand beside it. Without the tick a change counts as not verified.",
    )

    class Meta:
        model = ChemistryLife
        fields: tuple[str, ...] = ("life_years", "source", "edition")
        labels = {"edition": "Edition or date of the source"}
        help_texts = {"source": "The maker's document or the publication; “assumed” where there is none."}


class NewLifeForm(LifeForm):
    """A chemistry that was not listed yet."""

    field_order = ("chemistry",)

    class Meta(LifeForm.Meta):
        fields = ("chemistry", *LifeForm.Meta.fields)
        labels = {**LifeForm.Meta.labels, "chemistry": "Chemistry, as printed on the pack"}
