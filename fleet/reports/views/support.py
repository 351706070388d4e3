"""The end of makers' support, how companies performed, and departures from makers' schedules."""

from collections.abc import Iterable, Iterator
from typing import Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.documents.models import Document
from fleet.people.queries import person_of
from fleet.reports import queries
from fleet.reports.forms import SentOutForm, last_months
from fleet.reports.queries.departures import DriverDeparture, departed_plans, departures
from fleet.web import clock, csv_out
from fleet.web.guards import guard

#: More drivers than this are no page to read; the file has them all.
SHOWN: Final = 500
SUPPORT_HEADER: Final = ("Type", "Site", "Support ends", "Beyond it", "Drivers", "New ones cost", "Currency")
DEPARTURE_HEADER: Final = (
    "Asset", "Serial", "Type", "Home", "Plan", "The maker asks", "Maker's document", "Ours", "Basis", "Evidence",
    "Documents", "Evaluated by", "Evaluated on", "To be reviewed on", "Review late", "Allowed by",
)  # fmt: skip


@guard(May.SEE_REPORTS)
@require_safe
def support(request: HttpRequest) -> HttpResponse:
    """The drivers beyond their maker's support or near its end, by type and site, with what new ones cost."""
    found = queries.end_of_support(clock.today(), person_of(request))
    shown = {
        "found": found,
        "beyond": found.drivers(beyond=True),
        "near": found.drivers(beyond=False),
        "currency": settings.CURRENCY,
    }
    return render(request, "reports/support.html", shown)


@guard(May.SEE_REPORTS)
@require_safe
def support_csv(request: HttpRequest) -> HttpResponseBase:
    """The same lines as a file."""
    found = queries.end_of_support(clock.today(), person_of(request))
    rows = (
        (str(line.device_type), line.site.name, line.ends_on, "yes" if line.beyond else "no", line.drivers, line.sum,
         settings.CURRENCY)
        for line in found.lines
    )  # fmt: skip
    return csv_out.answer("end-of-support", SUPPORT_HEADER, rows)


@guard(May.SEE_REPORTS)
@require_safe
def sent_out(request: HttpRequest) -> HttpResponse:
    """How makers and other companies performed: what was sent to each, and how long it was away."""
    usual = last_months(clock.today())
    form = SentOutForm({**usual, **request.GET.dict()})
    asked = form.cleaned_data if form.is_valid() else usual
    found = queries.sent_out(asked["first"], asked["last"], person_of(request), asked.get("company"))
    shown = {"form": form, **asked, "found": found, "currency": settings.CURRENCY}
    return render(request, "reports/sent_out.html", shown)


@guard(May.SEE_FLEET)
@require_safe
def departed(request: HttpRequest) -> HttpResponse:
    """Every plan and driver on another schedule than its maker's, with all that stands behind it; to print."""
    person, today = person_of(request), clock.today()
    late = request.GET.get("show") == "late"
    plans = [row for row in departed_plans(person, today) if row.late or not late]
    drivers = [row for row in departures(person, today) if row.late or not late]
    shown = {
        "plans": plans,
        "drivers": drivers[:SHOWN],
        "count": len(drivers),
        "late": late,
        "many": sum(row.late for row in plans) + sum(row.late and row.own for row in drivers),
    }
    return render(request, "reports/departures.html", shown)


@guard(May.SEE_FLEET)
@require_safe
def departed_csv(request: HttpRequest) -> HttpResponseBase:
    """Every driver under a departure, as a file."""
    return csv_out.answer("departures", DEPARTURE_HEADER, _lines(departures(person_of(request), clock.today())))


def _lines(rows: Iterable[DriverDeparture]) -> Iterator[tuple[csv_out.Cell, ...]]:
    for row in rows:
        device = row.device
        yield (
            device.asset_number, device.serial_number, str(device.device_type), str(device.home), row.plan.name,
            row.maker, row.plan.document, row.ours, row.why, row.plan.basis_evidence,
            "; ".join(map(_told, row.documents)), row.by, row.on, row.review_on, "yes" if row.late else "no",
            row.plan.allowed_by,
        )  # fmt: skip


def _told(document: Document) -> str:
    return f"{document} ({document.address})" if document.address else str(document)
