"""Levelling the work of the coming weeks: a proposal made, looked at, taken up or dropped."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.core.due import Window
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.schedules import actions, levelling_plot, queries
from fleet.schedules.levelling_forms import LevellingForm
from fleet.schedules.models import Due, Levelling
from fleet.schedules.queries import Proposal, Row
from fleet.schedules.wording import week_words
from fleet.web import csv_out
from fleet.web.csv_out import Cell
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard

_SHOWN = 200
_PAST = 20
_DUES_HEADER = (
    "Asset",
    "Work",
    "Home",
    "Due on",
    "Window opens",
    "Window closes",
    "Planned week",
    "In that week",
    "Why none",
)


@guard(May.SEE_REPORTS)
@require_http_methods(["GET", "HEAD", "POST"])
def levelling(request: HttpRequest) -> HttpResponse:
    """Ask for a proposal, and see those made before."""
    person = person_of(request)
    form = LevellingForm(request.POST or None, person=person)
    if request.method == "POST":
        demand(request, May.DEFER_DUE)
        if form.is_valid():
            try:
                row = actions.propose(form.asked(), by=acting(request))
            except BenchwardError as error:
                put_beside(form, error)
            else:
                return redirect("schedules:one_levelling", pk=row.pk)
    context = {"form": form, "past": queries.levellings(person)[:_PAST], "above": _above()[:1]}
    return render(request, "schedules/levelling.html", context)


@guard(May.SEE_REPORTS)
@require_safe
def one_levelling(request: HttpRequest, pk: int) -> HttpResponse:
    """One proposal: the weeks before and after, who comes when, and who could be given no week."""
    row = _row(request, pk)
    context: dict[str, Any] = {"levelling": row, "above": _above(), "minutes": _minutes(row)}
    context |= {"away": queries.absences(row), "shares": queries.own_shares(row)}
    proposal = queries.proposal(row)
    if proposal:
        week = _week(request, proposal)
        hours = float(row.hours_a_week)
        context |= {
            "proposal": proposal,
            "over": [each for each in proposal.weeks if each.over],
            "figure": levelling_plot.draw(proposal.weeks, hours),
            "week": week,
            "dues": _told(request, proposal, proposal.of_week(week.number)[:_SHOWN]),
            "without": _told(request, proposal, proposal.without[:_SHOWN]),
        }
    return render(request, "schedules/one_levelling.html", context)


@guard(May.SEE_REPORTS)
@require_safe
def levelling_weeks(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The table by week as a file for a spreadsheet."""
    proposal = queries.proposal(_row(request, pk))
    weeks = proposal.weeks if proposal else []
    rows = (
        (week.monday, round(week.before, 2), round(week.after, 2), round(week.hours, 2), week.dues) for week in weeks
    )
    header = ("Week from", "Hours as due", "Hours as planned", "Hours there are", "Dues planned")
    return csv_out.answer(f"levelling-{pk}-weeks", header, rows)


@guard(May.SEE_REPORTS)
@require_safe
def levelling_dues(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Each due of the proposal with its week as a file for a spreadsheet."""
    proposal = queries.proposal(_row(request, pk))
    rows = sorted(proposal.rows, key=lambda row: (row.week is None, row.week, row.due_on)) if proposal else []
    cells = _cells(request, proposal, rows) if proposal else ()
    return csv_out.answer(f"levelling-{pk}-dues", _DUES_HEADER, cells)


def _cells(request: HttpRequest, proposal: Proposal, rows: Iterable[Row]) -> Iterator[list[Cell]]:
    for due, row, cut in _told(request, proposal, list(rows)):
        week = _monday(proposal, row)
        why = row.why.label if row.why else ""
        named = [due.device.asset_number, due.plan.name, f"{due.device.home}, {due.device.home.site}"]
        yield [*named, row.due_on, row.opens_on, row.closes_on, week, cut, why]


@guard(May.SEE_REPORTS)
@require_POST
def take_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Write the planned weeks on the dues."""

    def act(row: Levelling) -> str:
        written = actions.take_up(row, by=acting(request))
        dues = "1 due now has its" if written == 1 else f"{written} dues now have their"
        return f"{dues} planned week; due dates and windows stay as they are."

    return _acted(request, pk, act)


@guard(May.SEE_REPORTS)
@require_POST
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the proposal aside."""

    def act(row: Levelling) -> str:
        actions.drop(row, by=acting(request))
        return "The proposal is dropped. It stays in the list."

    return _acted(request, pk, act)


def _acted(request: HttpRequest, pk: int, act: Callable[[Levelling], str]) -> HttpResponse:
    demand(request, May.DEFER_DUE)
    try:
        messages.success(request, act(_row(request, pk)))
    except BenchwardError as error:
        messages.error(request, str(error))
    return redirect("schedules:one_levelling", pk=pk)


def _row(request: HttpRequest, pk: int) -> Levelling:
    return get_object_or_404(queries.levellings(person_of(request)), pk=pk)


def _above() -> list[tuple[str, str]]:
    return [("Late", reverse("schedules:overdue")), ("Levelling", reverse("schedules:levelling"))]


def _minutes(row: Levelling) -> str:
    kinds = {"service": "a service", "battery": "a battery test", "library": "a library update"}
    taken = [f"{kinds[kind]} {minutes} min" for kind, minutes in row.result["minutes"].items() if minutes]
    return ", ".join(taken)


def _week(request: HttpRequest, proposal: Proposal) -> queries.Week:
    asked = request.GET.get("week", "")
    found = next((week for week in proposal.weeks if str(week.number) == asked), None)
    return found or next((week for week in proposal.weeks if week.dues), proposal.weeks[0])


def _monday(proposal: Proposal, row: Row) -> date | None:
    return None if row.week is None else proposal.weeks[row.week].monday


def _cut(proposal: Proposal, row: Row) -> str:
    monday = _monday(proposal, row)
    return week_words(monday, Window(row.opens_on, row.due_on, row.closes_on)) if monday else ""


def _told(request: HttpRequest, proposal: Proposal, rows: list[Row]) -> list[tuple[Due, Row, str]]:
    """The dues of the rows as they stand, and where their window cuts the week; within the person's places.

    One that moved elsewhere is left out.
    """
    seen = Due.objects.within(person_of(request)).select_related("plan", "device__home__site")
    dues: dict[int, Due] = {}
    for start in range(0, len(rows), 500):
        dues |= seen.in_bulk([row.due for row in rows[start : start + 500]])
    return [(dues[row.due], row, _cut(proposal, row)) for row in rows if row.due in dues]
