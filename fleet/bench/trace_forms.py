"""What is typed at the trace of an instrument that was out of its limits."""

from django import forms

from fleet.bench.queries import Off
from fleet.core.errors import BadValueError
from fleet.core.units import as_typed, find_unit, read_quantity


class OffForm(forms.Form):
    """By how much the instrument was found off, with its unit: "2.1 %", "0.3 mL"."""

    off = forms.CharField(
        label="Found off by, at most",
        max_length=20,
        help_text="From its certificate, with its unit: 2.1 % of what it reads, or 3 µA. Without a sign.",
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
