"""All orders, as a list and as a file."""

from collections.abc import Iterator
from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.bench import queries
from fleet.bench.models import Order
from fleet.bench.tables import OrderFilter, OrderTable
from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.web import csv_out
from fleet.web.guards import guard
from fleet.web.paging import paged

HEADER = (
    "Order", "Asset number", "Type", "Home", "Here for", "State", "Raised", "Received", "Completed", "Outcome",
    "Reported", "Found", "Service came upon", "Caused by work before", "Work before",
    "Kind of cause", "Cause", "Kind of action", "Action",
)  # fmt: skip


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """Every order, narrowed as asked; `?as=csv` is the same list as a file."""
    rows = queries.orders().within(person_of(request))
    narrowed = OrderFilter(request.GET, queryset=rows, request=request)
    if request.GET.get("as") == "csv":
        return cast("HttpResponse", csv_out.answer("orders", HEADER, _lines(narrowed)))
    table = OrderTable(narrowed.qs)
    paged(request, table)
    query = request.GET.copy()
    query["as"] = "csv"
    return render(request, "bench/orders.html", {"filter": narrowed, "table": table, "csv": query.urlencode()})


def _lines(narrowed: OrderFilter) -> Iterator[list[csv_out.Cell]]:
    for order in narrowed.qs.iterator(chunk_size=2000):
        yield _line(order)


def _line(order: Order) -> list[csv_out.Cell]:
    moments = (order.raised_at, order.received_at, order.completed_at)
    return [
        order.number,
        order.device.asset_number,
        str(order.device.device_type),
        str(order.device.home),
        order.get_kind_display(),
        order.get_state_display(),
        *(f"{timezone.localtime(moment):%Y-%m-%d %H:%M}" if moment else "" for moment in moments),
        order.get_outcome_display(),
        order.reported,
        order.get_found_display(),
        order.get_finding_display(),
        order.get_caused_by_work_display(),
        str(order.work_before or ""),
        order.get_cause_kind_display(),
        order.cause,
        order.get_action_kind_display(),
        order.action_taken,
    ]
