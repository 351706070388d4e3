"""What is typed in to give orders to somebody."""

from collections.abc import Sequence
from typing import Any, Final, cast

from django import forms
from django.forms.boundfield import BoundWidget
from django.http import QueryDict

from fleet.bench.queries import Candidate
from fleet.web.forms import alternative

_NOBODY: Final = "nobody"


class AssignForm(forms.Form):
    """To whom orders are given, with a note; `opened` carries whose each was when the page was opened."""

    opened = forms.CharField(widget=forms.HiddenInput, required=False)
    person = forms.ChoiceField(
        label="Give to", widget=forms.RadioSelect, error_messages={"required": "Choose who does it, or nobody."}
    )
    note = forms.CharField(
        label="Note that goes along", max_length=200, required=False, help_text="What the next person should know."
    )

    def __init__(self, *args: Any, candidates: Sequence[Candidate], **rest: Any) -> None:
        super().__init__(*args, **rest)
        alternative(self.fields["note"])
        self.fields["person"].choices = [  # type: ignore[attr-defined] # a choice field
            *((str(one.person.pk), str(one.person)) for one in candidates if one.sees),
            (_NOBODY, "Nobody: it is everybody's again"),
        ]

    def opened_by_number(self) -> dict[str, str]:
        """Whose each order was, by its number."""
        pairs = (each.partition(":") for each in self.cleaned_data["opened"].split())
        return {number: whose for number, _, whose in pairs}

    def open_anew(self, opened: str) -> None:
        """After a refusal: what stands now is what the next sending is held against."""
        data = cast("QueryDict", self.data).copy()
        data["opened"] = opened
        self.data = data

    def rows(self, candidates: Sequence[Candidate]) -> list[tuple[BoundWidget | None, Candidate | None]]:
        """Each colleague with the button that picks them (None for who cannot be picked); last nobody."""
        buttons = {str(each.data["value"]): each for each in self["person"]}
        listed = [(buttons.get(str(one.person.pk)), one) for one in candidates]
        return [*listed, (buttons[_NOBODY], None)]
