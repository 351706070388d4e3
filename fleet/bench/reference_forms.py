"""What is typed in about reference limits and about the policy of a place."""

from typing import Any, ClassVar

from django import forms

from fleet.bench.actions.reference import POLICY_FACTS, SAYS, WHICH
from fleet.bench.models import LimitPolicy, LimitProfile, ReferenceLimit
from fleet.core.safety import Quantity
from fleet.registry.forms import ActionForm
from fleet.web.forms import NumberField, alternative, words_field

_ANY = "Empty: it holds for any."


class NarrowLimitsForm(forms.Form):
    """How the list of limits is narrowed."""

    profile = forms.ModelChoiceField(
        LimitProfile.objects.all(), label="Profile", required=False, empty_label="All profiles"
    )
    quantity = forms.ChoiceField(
        label="What is limited",
        required=False,
        choices=[("", "Anything"), *((each.value, each.label) for each in Quantity)],
    )
    checked = forms.ChoiceField(
        label="Verified",
        required=False,
        choices=[("", "Verified or not"), ("no", "Not verified"), ("yes", "Verified")],
    )

    def where(self) -> dict[str, Any]:
        """The lookups of what was chosen."""
        chosen = self.cleaned_data if self.is_valid() else {}
        lookups = {name: chosen[name] for name in ("profile", "quantity") if chosen.get(name)}
        if chosen.get("checked"):
            lookups["verified_on__isnull"] = chosen["checked"] == "no"
        return lookups


class LimitForm(ActionForm):
    """A reference limit with its source."""

    facts: ClassVar[tuple[str, ...]] = (*WHICH, *SAYS)

    low = NumberField(label="At least", required=False, max_digits=12, decimal_places=4)
    high = NumberField(label="At most", required=False, max_digits=12, decimal_places=4)

    class Meta:
        model = ReferenceLimit
        fields: tuple[str, ...] = (*WHICH, *SAYS)
        labels = {"quantity": "What is limited", "edition": "Edition or date of the source", "note": "Conditions"}
        help_texts = {
            "protection": _ANY,
            "applied_part": _ANY,
            "method": _ANY,
            "unit": "As it is written in the source: µA, mA, ohm, Mohm.",
            "source": "The standard or document; “from memory” where it was not looked up.",
            "note": "What it holds under, such as the test current.",
        }

    def __init__(self, *args: Any, **rest: Any) -> None:
        super().__init__(*args, **rest)
        for name in self.fields.keys() & {"low", "high", "protection", "applied_part", "method"}:
            alternative(self.fields[name], "Any")

    def limit(self) -> ReferenceLimit:
        """What was typed, as a row that is not saved yet."""
        return ReferenceLimit(**self.changes())


class BetterLimitForm(LimitForm):
    """What takes the place of a limit: which limit it is stays."""

    facts = SAYS
    why = words_field("Why it takes the place of the one that holds now", hint="Both stay on record.")

    class Meta(LimitForm.Meta):
        fields = SAYS


class VerifyLimitForm(forms.Form):
    """What a limit was held against."""

    against = forms.CharField(
        label="Document and edition you hold it against",
        max_length=160,
        help_text="As it is written on the document, with its number and year. It is shown as the source from then on.",
    )


class EndLimitForm(forms.Form):
    """A limit that holds no longer."""

    why = words_field("Why it holds no longer", hint="It stays on record; readings judged by it keep their verdict.")


class ProfileForm(forms.Form):
    """A set of limits."""

    name = forms.CharField(label="Name", max_length=80)
    code = forms.SlugField(label="Short code", max_length=30, help_text="Letters, digits, hyphens.")
    note = forms.CharField(label="For whom it is", max_length=300, required=False)


class PolicyForm(ActionForm):
    """What holds at a place; what is empty is inherited from the place above it."""

    facts = POLICY_FACTS
    why = words_field("Reason for the change", required=False)

    class Meta:
        model = LimitPolicy
        fields = POLICY_FACTS
        labels = {
            "profile": "Profile of reference limits",
            "acceptance": "Rule of acceptance",
            "jump_share": "Show a jump beyond this share of the way from the first value to the limit",
            "unnamed": "A reading whose step needs an instrument, with none named",
        }
        help_texts = {
            "profile": "A step that names what it measures is judged by this profile too; the tighter limit counts.",
            "acceptance": "Guarded: a reading nearer to its limit than its instrument is uncertain is not "
            "proven, and a step that must pass then stops the return to service. Strict: neither is a reading whose "
            "instrument has no uncertainty on record.",
            "jump_share": "From 0.05 to 1. A jump is shown and stops nothing.",
            "unnamed": "A marked one cannot be found again when an instrument turns out to have been wrong.",
        }

    def __init__(self, *args: Any, inherits: dict[str, str], **rest: Any) -> None:
        """`inherits`: by field, what holds where it is left empty."""
        super().__init__(*args, **rest)
        for name, words in inherits.items():
            field = alternative(self.fields[name], "As above it")
            field.help_text = f"{field.help_text} Empty: {words}."
