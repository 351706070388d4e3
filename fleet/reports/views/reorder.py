"""The reorder list: parts and packs together, on a page, printed, as a file; a line is marked as ordered."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from fleet.audit.actors import Actor
from fleet.batteries.actions import order_packs
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.reports import queries
from fleet.reports.forms import OrderedForm
from fleet.stores.actions import mark_ordered
from fleet.web import clock, csv_out
from fleet.web.guards import guard

HEADER = ("Number", "Name", "For", "Order", "By", "Cost", "Currency", "Why")


@guard(May.KEEP_STORE, May.WORK_ON_BENCH)
@require_safe
def reorder(request: HttpRequest) -> HttpResponse:
    """What to order by when, how many, at what cost and why; what only to bring over; what is on order."""
    person, today = person_of(request), clock.today()
    context = {
        "found": queries.reorder_list(person, today),
        "today": today,
        "cover": queries.COVER_DAYS,
        "currency": settings.CURRENCY,
        "may_order": person.may(May.KEEP_STORE),
    }
    return render(request, "reports/reorder.html", context)


@guard(May.KEEP_STORE, May.WORK_ON_BENCH)
@require_safe
def reorder_csv(request: HttpRequest) -> HttpResponseBase:
    """The lines to order as a file."""
    found = queries.reorder_list(person_of(request), clock.today())
    rows = [
        (line.number, line.name, line.where, line.quantity, line.by, line.cost, settings.CURRENCY, line.why)
        for line in found.lines
    ]
    return csv_out.answer("reorder", HEADER, rows)


@guard(May.KEEP_STORE)
@require_POST
def ordered(request: HttpRequest) -> HttpResponse:
    """Mark a line as ordered, with the day on which it is expected."""
    form = OrderedForm(request.POST, person=person_of(request))
    if not form.is_valid():
        messages.error(request, " ".join(str(error) for errors in form.errors.values() for error in errors))
        return redirect("reports:reorder")
    try:
        words = _mark(form, acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, words)
    return redirect("reports:reorder")


def _mark(form: OrderedForm, by: Actor) -> str:
    typed = form.cleaned_data
    quantity, expected = typed["quantity"], typed["expected_on"]
    if typed["pack_type"]:
        order_packs(typed["pack_type"], quantity, expected, by=by)
        return f"{quantity} packs for {typed['pack_type']} are noted as ordered."
    mark_ordered(typed["part"], typed["place"], quantity, expected, by=by)
    return f"{quantity} of {typed['part']} are noted as ordered."
