"""Packs to hold: what to order when, the demand month by month, how the packs stand, and what other limits come to."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.batteries import queries, wording
from fleet.batteries.demand_plot import draw
from fleet.batteries.policy_wording import service_words
from fleet.batteries.views.common import above
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import person_of
from fleet.web import clock, csv_out
from fleet.web.csv_out import Cell
from fleet.web.guards import guard

HEADER = (
    "Type", "Month", "Needed, expected", "1 in 10 needs fewer than", "Middle", "1 in 10 needs more than",
    "Asked for by the limits", "Needed in all, expected", "Enough in all at the service level", "Service level",
    "Left in stock, expected",
)  # fmt: skip


@guard(May.SEE_FLEET)
@require_safe
def fleet(request: HttpRequest) -> HttpResponse:
    """Every type's order in a line, then one type in full: the one asked for, else the one with the most packs."""
    today, stands = clock.today(), queries.stands()
    shown = _asked(request, stands)
    context: dict[str, Any] = {
        "above": above(),
        "orders": [(stand, queries.order_of(stand, today)) for stand in stands],
        "stand": shown,
    }
    if shown:
        context |= _one(request, shown, person_of(request))
    return render(request, "batteries/fleet.html", context)


@guard(May.SEE_FLEET)
@require_safe
def fleet_csv(request: HttpRequest) -> HttpResponseBase:
    """The demand month by month as a file, of the type asked for or of all."""
    stands = queries.stands()
    only = [stand for stand in stands if str(stand.device_type.pk) == request.GET.get("type", "")]
    return csv_out.answer(f"packs-to-hold-{clock.today().isoformat()}", HEADER, _months(only or stands))


def _asked(request: HttpRequest, stands: Sequence[queries.TypeStand]) -> queries.TypeStand | None:
    wanted = request.GET.get("type", "")
    return next((stand for stand in stands if str(stand.device_type.pk) == wanted), stands[0] if stands else None)


def _one(request: HttpRequest, stand: queries.TypeStand, person: Person) -> dict[str, Any]:
    outlook, order = stand.outlook, queries.order_of(stand, clock.today())
    return {
        "order": order,
        "drawing": draw(order.plot) if order else "",
        "limits_ask": "Your limits ask" if queries.limits().exists() else "The limit that is assumed asks",
        "asked": list(_asked_for(order)) if order else [],
        "bands": _bands(queries.bands(person, stand.device_type)),
        "alarms": queries.alarms(outlook) if outlook else [],
        "what_if": queries.what_if(outlook, request.GET.get("limit", ""), request.GET.get("every", ""))
        if outlook
        else None,
        "age": wording.made_words(outlook.made_at, clock.now()) if outlook else "",
        "service": service_words(stand.supply.service_level),
        "lists": [
            (label, count, _list(name, stand))
            for name, label, count in _lists(queries.counts_of(person, stand.device_type))
        ],
    }


def _list(name: str, stand: queries.TypeStand) -> str:
    return f"{reverse('batteries:will_not_last')}?list={name}&type={stand.device_type.pk}"


def _asked_for(order: queries.Order) -> Iterator[tuple[str, str]]:
    """What the limits ask for, part by part, each with the address of its list."""
    asked = order.asked
    if asked.at_once:
        yield f"{asked.at_once} now", _list("at_once", order.stand)
    if asked.late:
        yield f"{asked.late} at visits that are late", _list("at_visit", order.stand)
    if asked.at_visits:
        yield f"{asked.at_visits} at visits until {order.asked_until}", _list("at_visit", order.stand)


def _lists(counts: queries.TypeCounts) -> list[tuple[str, str, int]]:
    return [
        ("will_not_last", "will not last until the next visit", counts.will_not_last),
        ("below", "already below their level", counts.already_below),
        ("at_once", "to replace or call in", counts.at_once),
        ("at_visit", "to replace at the next visit", counts.at_visit),
        ("never", "never tested", counts.never_tested),
    ]


@dataclass(frozen=True, slots=True)
class Band:
    """Packs in one band of the runtime fraction: how many, and how long its bar is beside the longest (0 to 100)."""

    words: str
    count: int
    length: int


def _bands(counts: Sequence[tuple[str, int]]) -> list[Band]:
    most = max((count for _, count in counts), default=0) or 1
    return [Band(words, count, round(100 * count / most)) for words, count in counts]


def _months(stands: Sequence[queries.TypeStand]) -> Iterator[tuple[Cell, ...]]:
    for stand in stands:
        order = queries.order_of(stand, clock.today())
        for line in order.lines if order else []:
            yield (
                str(stand.device_type),
                f"{line.first:%Y-%m}",
                round(line.expected, 2),
                line.low,
                line.middle,
                line.high,
                line.asked,
                round(line.total, 2),
                line.enough,
                stand.supply.service_level,
                round(line.left, 2),
            )
