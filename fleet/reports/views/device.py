"""One driver: its page, its timeline, and its whole history as a file."""

import re
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.bench.queries.judged import courses
from fleet.core.permissions import May
from fleet.libraries.tables import state_mark
from fleet.people.queries import person_of
from fleet.registry.models import Device
from fleet.registry.queries import devices
from fleet.reports import queries
from fleet.reports.queries import Topic
from fleet.reports.tables import TRAIL_HEADER, trail_rows
from fleet.reports.views.person import sees_fleet
from fleet.reports.wording import told
from fleet.schedules.queries import reaches, total_hours, use_of, work_calendar
from fleet.schedules.tables import standing, tried_words
from fleet.schedules.wording import first_words, planned_week, planned_words
from fleet.web import clock, csv_out
from fleet.web.guards import fetch, guard

_ID = re.compile(r"[0-9]{1,18}")


@dataclass(frozen=True, slots=True)
class Tab:
    """A link to the same timeline, narrowed."""

    label: str
    url: str
    current: bool
    count: int | None = None


@guard(May.REPORT_FAULT, May.SEE_FLEET)
@require_safe
def device(request: HttpRequest, asset: str) -> HttpResponse:
    """A driver's page; for a ward, the little it needs of it."""
    rows = devices().select_related("supplier", "service_provider")
    row = fetch(rows, request, asset_number=asset)
    if not sees_fleet(request):
        return render(request, "reports/device_short.html", {"device": row, "status": queries.status_of(row)})
    page = queries.device_page(row, person_of(request))
    today, calendar = clock.today(), work_calendar()
    lines = [
        (
            due,
            standing(due),
            tried_words(due),
            first_words(reaches(due), today),
            planned_week(due) or planned_words(calendar.planned(due)),
        )
        for due in page.dues
    ]
    shown = {
        "page": page,
        "device": row,
        "status": page.status,
        "dues": lines,
        "battery": page.battery,
        "courses": courses(row),
        "use": use_of(row),
        "total_hours": total_hours(row),
        "library_mark": state_mark(page.library),
        **_timeline(request, row),
    }
    return render(request, "reports/device.html", shown)


@guard(May.SEE_FLEET)
@require_safe
def history(request: HttpRequest, asset: str) -> HttpResponse:
    """The timeline alone, from an entry on backwards; to htmx only the entries."""
    row = fetch(devices(), request, asset_number=asset)
    shown = {
        "device": row,
        "above": [(row.asset_number, reverse("reports:device", args=[asset]))],
        **_timeline(request, row),
    }
    return render(request, "reports/_entries.html" if request.htmx else "reports/history.html", shown)  # type: ignore[attr-defined] # django-htmx sets it


@guard(May.SEE_FLEET)
@require_safe
def history_csv(request: HttpRequest, asset: str) -> HttpResponseBase:
    """Everything that was ever done to the driver, as a file."""
    row = fetch(devices(), request, asset_number=asset)
    entries = queries.history(row).iterator(chunk_size=500)
    return csv_out.answer(f"history-{row.pk}", TRAIL_HEADER, trail_rows(entries, queries.names()))


def _timeline(request: HttpRequest, row: Device) -> dict[str, Any]:
    asked = request.GET.get("topic", "")
    topic = Topic(asked) if asked in set(Topic) else None
    part = queries.timeline(row, topic, _id(request.GET.get("before", "")))
    people = queries.names()
    address = reverse("reports:history", args=[row.asset_number])
    narrowed = {"topic": topic.value} if topic else {}
    return {
        "entries": [told(entry, people) for entry in part.entries],
        "older": f"{address}?{urlencode({**narrowed, 'before': part.older})}" if part.older else "",
        "topics": _tabs(request.path, topic),
    }


def _id(text: str) -> int | None:
    """A row's id from an address; None for anything no row could have."""
    return int(text) if _ID.fullmatch(text) else None


def _tabs(path: str, chosen: Topic | None) -> list[Tab]:
    every = Tab("All", f"{path}#history", chosen is None)
    return [every, *(Tab(each.label, f"{path}?topic={each.value}#history", each is chosen) for each in Topic)]
