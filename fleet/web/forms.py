"""Fields that many forms share, and where a refusal is shown."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.db.models import QuerySet
from django.db.models.fields import BLANK_CHOICE_DASH

from fleet.core.errors import BenchwardError

_DAY = "%Y-%m-%d"
_MOMENT = "%Y-%m-%dT%H:%M"


class NumberField(forms.DecimalField):
    """A number with a point or a comma."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": "7"})

    def to_python(self, value: Any) -> Any:
        """Read the number."""
        return super().to_python(value.strip().replace(",", ".") if isinstance(value, str) else value)

    def prepare_value(self, value: Any) -> Any:
        """Show a number without the column's trailing zeros."""
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


def alternative(field: forms.Field, left_out: str = "None") -> forms.Field:
    """Leave out the words “if known” beside a field that may be empty for another reason, which its hint tells.

    `left_out` says what an empty choice then means.
    """
    field.plain_label = left_out  # type: ignore[attr-defined] # read by partials/field.html
    return field


def word_empty_choice(field: forms.Field) -> None:
    """Put words in place of Django's row of dashes, where a list of rows or of words begins with an empty choice."""
    words = "Choose" if field.required else getattr(field, "plain_label", "Not known")
    if isinstance(field, forms.ModelChoiceField):
        if field.empty_label == BLANK_CHOICE_DASH[0][1]:
            field.empty_label = words
    elif isinstance(field, forms.ChoiceField):
        choices = list(cast("Iterable[Any]", field.choices))
        if choices[:1] == BLANK_CHOICE_DASH:
            field.choices = [("", words), *choices[1:]]


def day_field(label: str, *, hint: str = "", required: bool = True) -> forms.DateField:
    """A date, picked or typed."""
    widget = forms.DateInput(attrs={"type": "date"}, format=_DAY)
    return forms.DateField(label=label, help_text=hint, required=required, widget=widget)


def moment_field(label: str, *, hint: str = "Leave empty if it was just now.") -> forms.DateTimeField:
    """A local date and time that may be left empty."""
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=_MOMENT)
    return forms.DateTimeField(label=label, help_text=hint, required=False, widget=widget)


def words_field(label: str, *, hint: str = "", required: bool = True) -> forms.CharField:
    """A few sentences."""
    return forms.CharField(label=label, help_text=hint, required=required, widget=forms.Textarea(attrs={"rows": 3}))


def offer(form: forms.BaseForm, name: str, rows: QuerySet[Any]) -> None:
    """Let a field choose among `rows`, which depend on who asks."""
    cast("forms.ModelChoiceField[Any]", form.fields[name]).queryset = rows


def put_beside(form: forms.BaseForm, error: BenchwardError) -> None:
    """Show a refusal beside the field it names, or above the form when it names none that is there."""
    field = getattr(error, "field", "")
    form.add_error(field if field in form.fields else None, str(error))
