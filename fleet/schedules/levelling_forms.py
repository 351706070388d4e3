"""What is typed in for a proposal that levels the work."""

from datetime import timedelta
from decimal import Decimal
from typing import Any, Final, cast

from django import forms
from django.db.models import QuerySet

from fleet.core.levelling import Absence
from fleet.people.models import Absence as OnRecord
from fleet.people.models import Person
from fleet.people.queries import absences, bench_people
from fleet.registry.forms import PlaceChoice
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.schedules.actions import Asked
from fleet.schedules.models import Plan
from fleet.web import clock, phrases
from fleet.web.forms import alternative, day_field, offer


def minutes_field(label: str, minutes: int) -> forms.IntegerField:
    """The minutes that one kind of work takes, with a number to begin with that nobody has measured."""
    return forms.IntegerField(
        label=label,
        min_value=0,
        max_value=600,
        initial=minutes,
        help_text="Assumed; give your own. 0 leaves it out.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


_NO_SHARE: Final = {
    "min_value": "With 0 %% no driver could be away and nothing be planned; give 1 or more. One may always be away."
}
#: Lines of the form for those who are away, and for wards with a share of their own.
ABSENCES, OWN_SHARES = 6, 4
_ABSENCE = ("who", "from", "until", "hours")


def _absence_fields(at: int) -> dict[str, forms.Field]:
    """One line of the table of absences."""
    hours = forms.DecimalField(
        label=f"Hours a week that absence {at} takes",
        required=False,
        min_value=Decimal("0.5"),
        max_value=Decimal(100),
        decimal_places=1,
        widget=forms.NumberInput(attrs={"inputmode": "decimal"}),
    )
    return {
        f"who{at}": forms.CharField(
            label=f"Who is away, line {at}", required=False, max_length=40, widget=forms.TextInput(attrs={"size": "14"})
        ),
        f"from{at}": day_field(f"First day of absence {at}", required=False),
        f"until{at}": day_field(f"Last day of absence {at}", required=False),
        f"hours{at}": hours,
    }


def _share_fields(at: int) -> dict[str, forms.Field]:
    """One line of the table of wards with a share of their own."""
    return {
        f"ward{at}": PlaceChoice(
            queryset=Place.objects.none(), label=f"Ward of line {at}", required=False, empty_label="No ward"
        ),
        f"share{at}": forms.IntegerField(
            label=f"Most of its drivers away, line {at}, in percent",
            required=False,
            min_value=1,
            max_value=100,
            error_messages=_NO_SHARE,
            widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        ),
    }


def _away_in_the_plan(person: Person) -> QuerySet[OnRecord]:
    """When those who work on the person's benches are noted as away in the year that is levelled."""
    today = clock.today()
    return absences(bench_people(person), today, today + timedelta(weeks=53))


def _recorded_fields(rows: dict[str, OnRecord]) -> dict[str, forms.Field]:
    """Who is noted as away, to be ticked, and the hours each takes; nothing where nobody is."""
    if not rows:
        return {}
    named = [(pk, f"{row.person}, {phrases.day(row.first)} to {phrases.day(row.last)}") for pk, row in rows.items()]
    hours = forms.DecimalField(
        label="Hours a week that one of them else gives to planned work",
        required=False,
        min_value=Decimal("0.5"),
        max_value=Decimal(100),
        decimal_places=1,
        widget=forms.NumberInput(attrs={"inputmode": "decimal"}),
    )
    ticks = forms.MultipleChoiceField(
        label="Count these days away, as noted on record",
        required=False,
        choices=named,
        widget=forms.CheckboxSelectMultiple,
    )
    return {"recorded": alternative(ticks), "recorded_hours": alternative(hours)}


class LevellingForm(forms.Form):
    """What a proposal to level the work is made for."""

    place = PlaceChoice(queryset=Place.objects.none(), label="For the drivers at home in", empty_label="Choose a place")
    hours_a_week = forms.DecimalField(
        label="Technician hours a week for planned work",
        min_value=Decimal("0.5"),
        max_value=Decimal(5000),
        decimal_places=1,
        widget=forms.NumberInput(attrs={"inputmode": "decimal"}),
    )
    most_away = forms.IntegerField(
        label="Most of a ward's drivers away in one week",
        min_value=1,
        max_value=100,
        initial=20,
        error_messages=_NO_SHARE,
        help_text="One may always be away, however few a ward has.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    service = minutes_field("A service takes", 45)
    battery = minutes_field("A battery test takes", 20)
    library = minutes_field("A library update takes", 10)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "place", open_places().within(person))
        if person.everywhere:
            self.fields["place"].required = False
            cast("forms.ModelChoiceField[Any]", self.fields["place"]).empty_label = "All places"
            alternative(self.fields["place"])
        self.on_record = {str(row.pk): row for row in _away_in_the_plan(person)}
        self.fields |= _recorded_fields(self.on_record)
        for at in range(1, ABSENCES + 1):
            self.fields |= _absence_fields(at)
        for at in range(1, OWN_SHARES + 1):
            self.fields |= _share_fields(at)
            offer(self, f"ward{at}", open_places(Place.Kind.WARD, Place.Kind.STORE).within(person))

    @property
    def away(self) -> list[list[Any]]:
        """The fields of each absence: who, from, to, hours a week."""
        return [[self[f"{name}{at}"] for name in _ABSENCE] for at in range(1, ABSENCES + 1)]

    @property
    def shares(self) -> list[list[Any]]:
        """The fields of each ward with a share of its own."""
        return [[self[f"ward{at}"], self[f"share{at}"]] for at in range(1, OWN_SHARES + 1)]

    def clean(self) -> dict[str, Any]:
        """An absence is filled in whole or not at all, and so is a ward's share."""
        typed: dict[str, Any] = super().clean() or {}
        rows = [[f"{name}{at}" for name in _ABSENCE] for at in range(1, ABSENCES + 1)]
        rows += [[f"ward{at}", f"share{at}"] for at in range(1, OWN_SHARES + 1)]
        if typed.get("recorded") and typed.get("recorded_hours") is None:
            self.add_error("recorded_hours", "Give the hours a week, or tick nobody who is away.")
        for names in rows:
            missing = [name for name in names if typed.get(name) in {None, ""}]
            if missing and len(missing) < len(names):
                self.add_error(missing[0], "Fill in the whole line, or leave it empty.")
        return typed

    @property
    def minutes(self) -> list[tuple[Any, str]]:
        """The fields of minutes with their unit."""
        return [(self[kind.value], "minutes") for kind in Plan.Kind]

    def recorded(self) -> list[Absence]:
        """The absences on record that were picked, each for the hours that one person gives."""
        typed = self.cleaned_data
        picked = [self.on_record[pk] for pk in typed.get("recorded", ())]
        return [Absence(str(row.person), row.first, row.last, float(typed["recorded_hours"])) for row in picked]

    def asked(self) -> Asked:
        """What was typed, as the action takes it."""
        typed = self.cleaned_data
        return Asked(
            place=typed["place"],
            hours_a_week=typed["hours_a_week"],
            most_away=Decimal(typed["most_away"]) / 100,
            minutes={kind.value: typed[kind.value] for kind in Plan.Kind},
            absences=self.recorded()
            + [
                Absence(typed[f"who{at}"], typed[f"from{at}"], typed[f"until{at}"], float(typed[f"hours{at}"]))
                for at in range(1, ABSENCES + 1)
                if typed[f"who{at}"]
            ],
            shares={
                typed[f"ward{at}"]: Decimal(typed[f"share{at}"]) / 100
                for at in range(1, OWN_SHARES + 1)
                if typed[f"ward{at}"]
            },
        )
