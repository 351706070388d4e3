"""How the lists of batteries are narrowed."""

from typing import Any, Final

import django_filters
from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest

from fleet.batteries.models import Fitting, FittingQuerySet, Forecast, Pack, PackQuerySet
from fleet.batteries.queries import aged, tested
from fleet.people.queries import person_of
from fleet.registry.filters import PlaceFilter, home_filter, pool_filter, site_filter, type_filter
from fleet.registry.models import Device, Place
from fleet.registry.queries import open_places, types
from fleet.web import clock

#: Least chances that can be chosen, as the address says them, in words; usually each driver's own limit.
USUAL_CHANCE: Final = "own"
CHANCES: Final = {USUAL_CHANCE: "its own limit", "0.05": "1 in 20", "0.1": "1 in 10", "0.25": "1 in 4"}
#: How many drivers a sheet of tests may name, as the address says it, in words; ten where it says nothing.
SHEET_SIZES: Final = {"": ("Ten", 10), "5": ("Five", 5), "20": ("Twenty", 20)}
#: Ages in whole years, from and to.
_AGES: Final[dict[str, tuple[int, int | None]]] = {"0": (0, 2), "2": (2, 4), "4": (4, 6), "6": (6, None)}


def _as_it_is(rows: QuerySet[Any], _name: str, _value: str) -> QuerySet[Any]:
    """The view has chosen the rows already."""
    return rows


class OutlookFilter(django_filters.FilterSet):
    """Narrow a list of batteries by where the driver belongs, its type and its use."""

    list = django_filters.CharFilter(method=_as_it_is, widget=forms.HiddenInput)
    site = site_filter()
    home = home_filter()
    type = type_filter()
    pool = pool_filter()

    class Meta:
        model = Forecast
        fields = ()


class ChanceFilter(OutlookFilter):
    """The same, and by the least chance that counts."""

    chance = django_filters.ChoiceFilter(
        label="Chance of at least", choices=list(CHANCES.items()), empty_label=None, method=_as_it_is
    )


class DeviceFilter(django_filters.FilterSet):
    """Narrow drivers themselves."""

    list = django_filters.CharFilter(method=_as_it_is, widget=forms.HiddenInput)
    site = site_filter("")
    home = home_filter("")
    type = type_filter("")
    pool = pool_filter("")

    class Meta:
        model = Device
        fields = ()


def _places(request: HttpRequest) -> Any:
    return open_places().within(person_of(request))


class SheetFilter(django_filters.FilterSet):
    """Narrow the drivers to test by where they are now, their type and their use, and say how many are wanted."""

    place = PlaceFilter(label="Where it is now", queryset=_places, method="by_place", empty_label="All places")
    type = type_filter()
    pool = pool_filter()
    count = django_filters.ChoiceFilter(
        label="How many",
        choices=[(asked, words) for asked, (words, _) in SHEET_SIZES.items() if asked],
        empty_label=SHEET_SIZES[""][0],
        method=_as_it_is,
    )

    class Meta:
        model = Fitting
        fields = ()

    def by_place(self, rows: FittingQuerySet, _name: str, value: Place) -> FittingQuerySet:
        """The drivers that are at the place or in it."""
        return rows.filter(device__place__path__startswith=value.path)


def _types(_request: HttpRequest) -> Any:
    return types()


def _chemistries() -> list[tuple[str, str]]:
    return [(name, name) for name in Pack.objects.order_by("chemistry").values_list("chemistry", flat=True).distinct()]


class PackFilter(django_filters.FilterSet):
    """Narrow packs by where they are in their life, what they are, how old, and whether ever tested."""

    number = django_filters.CharFilter(label="Number begins with", lookup_expr="istartswith")
    state = django_filters.ChoiceFilter(label="State", choices=Pack.State.choices, empty_label="All states")
    type = django_filters.ModelChoiceFilter(
        label="For", field_name="for_type", queryset=_types, empty_label="All types"
    )
    chemistry = django_filters.ChoiceFilter(label="Chemistry", choices=_chemistries, empty_label="All")
    age = django_filters.ChoiceFilter(
        label="Age",
        choices=[("0", "Under 2 years"), ("2", "2 to 4 years"), ("4", "4 to 6 years"), ("6", "6 years and over")],
        empty_label="Any age",
        method="by_age",
    )
    tested = django_filters.ChoiceFilter(
        label="Tested", choices=[("never", "Never"), ("yes", "At least once")], empty_label="Either", method="by_tests"
    )

    class Meta:
        model = Pack
        fields = ()

    def by_age(self, rows: PackQuerySet, _name: str, value: str) -> PackQuerySet:
        """Counted from the day it was made, or first fitted where that is not known."""
        from_years, to_years = _AGES[value]
        return aged(rows, clock.today(), from_years=from_years, to_years=to_years)

    def by_tests(self, rows: PackQuerySet, _name: str, value: str) -> PackQuerySet:
        """A void test counts for nothing."""
        return tested(rows, ever=value == "yes")
