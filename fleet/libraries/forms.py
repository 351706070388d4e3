"""What is typed in about libraries."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from fleet.libraries.models import Library, LibraryVersion
from fleet.people.models import Person
from fleet.registry.models import Device, Place
from fleet.registry.queries import by_code, open_places
from fleet.web.forms import day_field, moment_field, offer, words_field

#: As many as one walk with a scanner brings; more come as a file.
MOST_CODES = 500


class VersionChoice(forms.ModelChoiceField):
    """A version that stands, told with its library and day."""

    def __init__(self, **kwargs: Any) -> None:
        rows = LibraryVersion.objects.filter(withdrawn_on=None).select_related("library")
        super().__init__(rows.order_by("library__name", "-released_on"), empty_label="Choose a version", **kwargs)


class PlaceChoice(forms.ModelChoiceField):
    """A place, told with its site."""

    def label_from_instance(self, obj: Place) -> str:
        """The place, then its site."""
        return f"{obj}, {obj.site}" if obj.site_id != obj.pk else f"{obj} (the whole site)"


class LibraryForm(forms.ModelForm):
    """A new library."""

    class Meta:
        model = Library
        fields = ("name", "code")
        labels = {"code": "Short code"}


class ReleaseForm(forms.Form):
    """A new version."""

    number = forms.CharField(label="Version", max_length=20, help_text="As the drivers show it.")
    released_on = day_field("Released on")
    note = words_field("What is new", required=False)


class RequireForm(forms.Form):
    """What a place requires from when."""

    place = PlaceChoice(
        label="Place",
        queryset=Place.objects.none(),
        empty_label="Choose a place",
        help_text="It holds for every place in it too.",
    )
    version = VersionChoice(label="Version")
    from_day = day_field("From")

    def __init__(self, *args: Any, person: Person, library: Library, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", _places(person))
        versions: Any = self.fields["version"]
        versions.queryset = versions.queryset.filter(library=library)


class WithdrawForm(forms.Form):
    """Taking a version back."""

    on = day_field("Withdrawn on")
    why = words_field("Reason")


class ScanForm(forms.Form):
    """A list of drivers seen to carry one version. `person`: drivers outside their places are not found."""

    version = VersionChoice(label="They carry")
    seen_at = moment_field("When it was seen")
    codes = forms.CharField(
        label="Drivers",
        help_text="One on each line: scan or type asset numbers, serial numbers or UDIs.",
        widget=forms.Textarea(attrs={"rows": 12, "autofocus": True, "autocomplete": "off", "spellcheck": "false"}),
    )

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        if self.initial.get("codes"):
            # The driver is known: what is asked for next is its version.
            del self.fields["codes"].widget.attrs["autofocus"]
            self.fields["version"].widget.attrs["data-focus"] = ""

    def clean_codes(self) -> list[Device]:
        """The drivers, each once; every line that names none is told."""
        lines = [line.strip() for line in self.cleaned_data["codes"].splitlines()]
        if len(lines) > MOST_CODES:
            raise forms.ValidationError(f"{len(lines)} lines are too many at once; send {MOST_CODES} or fewer.")
        found = [(number, line, by_code(line)) for number, line in enumerate(lines, start=1) if line]
        asked = {device.pk for _, _, device in found if device}
        known = set(Device.objects.within(self.person).filter(pk__in=asked).values_list("pk", flat=True))
        wrong = [f"Line {number}: no driver of yours is known by “{line}”." for number, line, device in found
                 if device is None or device.pk not in known]  # fmt: skip
        if wrong:
            raise forms.ValidationError(wrong)
        return list({device.pk: device for _, _, device in found if device}.values())


def _places(person: Person) -> QuerySet[Place]:
    return open_places().within(person)
