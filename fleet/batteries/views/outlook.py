"""Batteries that will not last until the next visit, and those of which that cannot be told."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.batteries import queries, tables, wording
from fleet.batteries.filters import CHANCES, USUAL_CHANCE, ChanceFilter, DeviceFilter, OutlookFilter
from fleet.batteries.views.common import PROMISE
from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.web import clock, csv_out
from fleet.web.guards import guard
from fleet.web.paging import paged, with_values

FIRST_LIST = "will_not_last"


@dataclass(frozen=True, slots=True)
class Shown:
    """How a list is shown: its title and what it means, its filter and table, and its file."""

    title: str
    means: str
    none: str
    filter: Any
    table: Any
    header: tuple[str, ...]
    rows: Callable[[Any], Any]


def _of_forecasts(title: str, means: str, none: str, table: Any) -> Shown:
    return Shown(title, means, none, OutlookFilter, table, tables.FORECAST_HEADER, tables.forecast_rows)


def _advised(title: str, means: str, none: str) -> Shown:
    return Shown(title, means, none, OutlookFilter, tables.AdvisedTable, tables.ADVISED_HEADER, tables.advised_rows)


SHOWN = {
    FIRST_LIST: Shown(
        "Will not last until the next visit",
        "In service with a battery that may fall under its replacement level before anybody sees it again: usually "
        "those with a greater chance of it than the limit in force for the driver allows.",
        "No battery has that chance of falling under its level before the next visit.",
        ChanceFilter, tables.OutlookTable, tables.FORECAST_HEADER, tables.forecast_rows,
    ),
    "below": _of_forecasts(
        "Already below",
        "In service with a battery under its replacement level, by its latest test or by what is expected of it.",
        "No battery in service is under its level, as far as is known.",
        tables.BelowTable,
    ),
    "at_once": _advised(
        "Replace or call in",
        "In service with a battery that is under its level, or that your limit gives no time until the next visit.",
        "No battery has to be replaced or called in before its visit.",
    ),
    "at_visit": _advised(
        "Replace at the next visit",
        "In service with a battery that lasts until the next visit by your limit, but not until the visit after it.",
        "No battery has to be replaced at its next visit.",
    ),
    "never": Shown(
        "Never tested",
        "In service with a pack on which no runtime test was ever made. What is said of them comes from their type.",
        "Every pack in service was tested at least once.",
        OutlookFilter, tables.NeverTestedTable, tables.FITTING_HEADER, tables.fitting_rows,
    ),
    "not_enough": _of_forecasts(
        "Not enough data",
        "Of these types too little was measured for a forecast. They get no number until more packs are tested.",
        "Every type in service has a forecast.",
        tables.NoNumberTable,
    ),
    "no_visit": _of_forecasts(
        "No visit planned",
        "With a forecast, but without a planned visit, so that no chance can be given.",
        "A visit is planned for every driver with a forecast.",
        tables.NoVisitTable,
    ),
    "no_pack": Shown(
        "No pack on record",
        "In service, of a type with a fitted pack, and no record says which pack is in it.",
        "Every driver in service has its pack on record.",
        DeviceFilter, tables.NoPackTable, tables.DEVICE_HEADER, tables.device_rows,
    ),
}  # fmt: skip


@guard(May.SEE_FLEET)
@require_safe
def will_not_last(request: HttpRequest) -> HttpResponse:
    """One of the lists, with the number of rows in each above it."""
    name, chance = _asked(request)
    shown, narrowed = SHOWN[name], _narrowed(request)
    counts = queries.counts(person_of(request), _least(chance))
    context = {
        "name": name,
        "shown": shown,
        "filter": narrowed,
        "count": narrowed.qs.count(),
        "table": paged(request, shown.table(narrowed.qs)),
        "types": queries.types_without_forecast(narrowed.qs) if name == "not_enough" else [],
        "stats": _stats(request, counts, chance),
        "age": _age(counts),
        "csv": with_values(request.GET),
        "clear": f"?list={name}",
        "promise": PROMISE,
    }
    return render(request, "batteries/will_not_last.html", context)


@guard(May.SEE_FLEET)
@require_safe
def will_not_last_csv(request: HttpRequest) -> HttpResponseBase:
    """The same rows as a file for a spreadsheet."""
    name, _ = _asked(request)
    shown, rows = SHOWN[name], _narrowed(request).qs.iterator(chunk_size=500)
    file = f"batteries-{name.replace('_', '-')}-{clock.today().isoformat()}"
    return csv_out.answer(file, shown.header, shown.rows(rows))


def _asked(request: HttpRequest) -> tuple[str, str]:
    name, chance = request.GET.get("list", ""), request.GET.get("chance", "")
    return name if name in SHOWN else FIRST_LIST, chance if chance in CHANCES else USUAL_CHANCE


def _least(chance: str) -> float | None:
    """The least chance that counts; None where it is each driver's own limit."""
    return None if chance == USUAL_CHANCE else float(chance)


def _narrowed(request: HttpRequest) -> Any:
    name, chance = _asked(request)
    person = person_of(request)
    rows = queries.will_not_last(person, _least(chance)) if name == FIRST_LIST else queries.LISTS[name](person)
    typed = request.GET.copy()
    typed["chance"] = chance
    return SHOWN[name].filter(typed, queryset=rows, request=request)


def _stats(request: HttpRequest, counts: queries.Counts, chance: str) -> list[tuple[str, int, str, bool]]:
    """Each list's title, its number of rows, its address, and whether it is the one shown."""
    numbers = {
        FIRST_LIST: counts.will_not_last,
        "below": counts.already_below,
        "at_once": counts.at_once,
        "at_visit": counts.at_visit,
        "never": counts.never_tested,
        "not_enough": counts.not_enough,
        "no_visit": counts.without_visit,
        "no_pack": counts.without_pack,
    }
    held = "" if chance == USUAL_CHANCE else chance
    here, _ = _asked(request)
    return [
        (SHOWN[name].title, number, with_values(QueryDict(), list=name, chance=held), name == here)
        for name, number in numbers.items()
    ]


def _age(counts: queries.Counts) -> str:
    """When the oldest of these forecasts was made, in words; empty when there is none."""
    return wording.made_words(counts.oldest, clock.now()) if counts.oldest else ""
