"""Fields that many forms share, and where a refusal is shown."""

from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from fleet.core.errors import BenchwardError

_DAY = "%Y-%m-%d"
_MOMENT = "%Y-%m-%dT%H:%M"


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
