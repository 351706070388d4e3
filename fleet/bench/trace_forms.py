"""What is typed at the trace of an instrument that was out of its limits."""

from dataclasses import replace
from typing import Any, Final

from django import forms

from fleet.bench.queries import Off
from fleet.core.calibration import Way
from fleet.core.errors import BadValueError
from fleet.core.units import as_typed, find_unit, read_quantity

_SIGNS: Final = "+-\u2212"


class OffForm(forms.Form):
    """By how much the instrument was found off, with its unit ("2.1 %", "0.3 mL"), and which way."""

    off = forms.CharField(
        label="Found off by, at most",
        max_length=20,
        help_text="From its certificate, with its unit: 2.1 % of what it reads, or 3 µA. Without a sign.",
    )
    way = forms.ChoiceField(
        label="Which way",
        choices=[(way.value, way.label) for way in (Way.HIGH, Way.LOW, Way.UNKNOWN)],
        initial=Way.UNKNOWN.value,
        required=False,
        widget=forms.RadioSelect,
        help_text="Read high: it showed more than there was. The certificate tells; not known marks both ways.",
    )

    def clean_off(self) -> Off:
        """The number and its unit, which must be known here."""
        number, unit = as_typed(self.cleaned_data["off"])
        try:
            known = unit and find_unit(unit)
            amount = read_quantity(number, unit)
        except BadValueError as error:
            raise forms.ValidationError(str(error)) from error
        if not known:
            raise forms.ValidationError("Write the unit behind the number: 2.1 %, or 3 µA.")
        return Off(abs(amount), unit)

    def clean_way(self) -> Way:
        """Not known where nothing is chosen."""
        return Way(self.cleaned_data["way"] or Way.UNKNOWN)

    def clean(self) -> dict[str, Any]:
        """The error with its way. A sign that was typed does not say which of the two was less, so it is refused."""
        typed: dict[str, Any] = super().clean() or {}
        if "off" in typed and "way" in typed:
            if str(self.data.get("off", "")).strip()[:1] in set(_SIGNS) and typed["way"] is not Way.UNKNOWN:
                self.add_error("off", "Leave the sign out: which way it was off is said below.")
            else:
                typed["off"] = replace(typed["off"], way=typed["way"])
        return typed
