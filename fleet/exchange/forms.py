"""Sending a file, and choosing how it is read."""

from typing import Any, Final

from django import forms
from django.conf import settings

from fleet.exchange.actions import Choices, Sending
from fleet.exchange.models import Intake
from fleet.exchange.reading import DELIMITERS, ENCODINGS
from fleet.web.forms import alternative

_DETECT: Final = ("", "Detect it")
_ORDERS: Final = {"": None, "day": True, "month": False}


class ChoicesForm(forms.Form):
    """What a file may write in two ways. The order of day and month is never guessed."""

    date_order = forms.ChoiceField(
        label="Dates in digits, such as 03/04/2025",
        help_text="2025-04-03 is always understood.",
        choices=[
            ("", "There are none: refuse them"),
            ("day", "Day first: 3 April"),
            ("month", "Month first: 4 March"),
        ],
        required=False,
        widget=forms.RadioSelect,
    )
    decimal_comma = forms.BooleanField(label="Numbers are written with a decimal comma: 5,5", required=False)
    encoding = forms.ChoiceField(label="Encoding", choices=[_DETECT, *ENCODINGS.items()], required=False)
    delimiter = forms.ChoiceField(
        label="Cells are parted by",
        # A form field is stripped of a tab on its way, so the signs are chosen by their names.
        choices=[_DETECT, *((name.casefold(), name) for name in DELIMITERS.values())],
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            alternative(field)

    def choices(self) -> Choices:
        """What was chosen."""
        data = self.cleaned_data
        signs = {name.casefold(): sign for sign, name in DELIMITERS.items()}
        return Choices(
            encoding=data["encoding"],
            delimiter=signs.get(data["delimiter"], ""),
            day_first=_ORDERS[data["date_order"]],
            decimal_comma=data["decimal_comma"],
        )


def choices_of(intake: Intake) -> dict[str, Any]:
    """How a file was read, as the form shows it."""
    order = {one: word for word, one in _ORDERS.items()}[intake.day_first]
    return {
        "date_order": order,
        "decimal_comma": intake.decimal_comma,
        "encoding": intake.encoding if intake.encoding in ENCODINGS else "",
        "delimiter": DELIMITERS.get(intake.delimiter, "").casefold(),
    }


class SendForm(ChoicesForm):
    """A file and what it holds."""

    kind = forms.ChoiceField(label="What the file holds", choices=Intake.Kind.choices, widget=forms.RadioSelect)
    file = forms.FileField(
        label="The file",
        allow_empty_file=True,  # an empty one is refused in our words
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
    )
    field_order = ("kind", "file")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = f"A CSV file of at most {settings.INTAKE_MEGABYTES} MB. It is kept as sent."

    def sending(self) -> Sending:
        """The file as it was sent."""
        file = self.cleaned_data["file"]
        # One byte more than is taken in tells that there are too many, without holding them all.
        content = file.read(settings.INTAKE_MEGABYTES * 1024 * 1024 + 1)
        return Sending(kind=self.cleaned_data["kind"], file_name=file.name, content=content, choices=self.choices())
