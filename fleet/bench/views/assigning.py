"""Giving orders to somebody: who could do them, what each has to do already, a note that goes along."""

from collections.abc import Sequence

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from fleet.bench import actions, queries
from fleet.bench.assign_forms import AssignForm
from fleet.bench.models import Handover, Order
from fleet.bench.queries import Candidate
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.orders import OPEN_STATES
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422
#: So many orders are given away at once; the queue shows fewer on a page.
_MOST = 50


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def assign(request: HttpRequest) -> HttpResponse:
    """Choose who does the orders that were named in the address, with what is known of each colleague."""
    orders = _named(request)
    if not orders:
        messages.warning(request, "Tick the orders in the queue that you want to give to somebody.")
        return redirect("bench:queue")
    found = queries.candidates(orders, person_of(request), clock.today())
    form = AssignForm(request.POST or None, candidates=found, initial={"opened": _opened(orders)})
    if request.method == "POST" and form.is_valid() and _given(request, orders, found, form):
        return redirect("bench:order", orders[0].number) if len(orders) == 1 else redirect("bench:queue")
    context = {"orders": orders, "form": form, "rows": form.rows(found), "above": _above(orders)}
    return render(request, "bench/assign.html", context, status=REFUSED if form.errors else 200)


def _named(request: HttpRequest) -> list[Order]:
    numbers = list(dict.fromkeys(request.GET.getlist("order")))[:_MOST]
    rows = queries.orders().within(person_of(request)).filter(number__in=numbers)
    found = {row.number: row for row in rows}
    if len(found) < len(numbers):
        raise Http404("order")
    return [found[number] for number in numbers if found[number].state in OPEN_STATES]


def _opened(orders: Sequence[Order]) -> str:
    """Whose each order is now, as the form carries it along."""
    return " ".join(f"{order.number}:{order.assigned_to_id or ''}" for order in orders)


def _given(request: HttpRequest, orders: Sequence[Order], found: Sequence[Candidate], form: AssignForm) -> bool:
    opened = form.opened_by_number()
    chosen = next((one for one in found if str(one.person.pk) == form.cleaned_data["person"]), None)
    whose = chosen.person if chosen else None
    try:
        each = [(order, opened.get(order.number, "")) for order in orders]
        actions.assign_many(each, whose, by=acting(request), note=form.cleaned_data["note"])
    except BenchwardError as error:
        put_beside(form, error)
        if isinstance(error, ConflictError):
            form.open_anew(_opened(orders))
        return False
    what = f"Order {orders[0]} is" if len(orders) == 1 else f"{len(orders)} orders are"
    messages.success(request, f"{what} given to {whose}." if whose else f"{what} nobody's now.")
    if chosen and chosen.warnings:
        messages.warning(request, f"{whose}: {'; '.join(chosen.warnings)}.")
    return True


def _above(orders: Sequence[Order]) -> list[tuple[str, str]]:
    above = [("Bench queue", reverse("bench:queue"))]
    if len(orders) == 1:
        above.append((f"Order {orders[0]}", reverse("bench:order", args=[orders[0].number])))
    return above


@guard(May.WORK_ON_BENCH)
@require_POST
def undo(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take back an order that was given away."""
    row = fetch(queries.orders(), request, number=number)
    handover = get_object_or_404(Handover.objects.select_related("order__device"), pk=pk, order=row)
    try:
        done = actions.undo_handover(handover, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        whose = f"{done.assigned_to}'s" if done.assigned_to else "nobody's"
        messages.success(request, f"Taken back: order {done} is {whose} again.")
    return redirect("bench:order", number)
