"""Signing one's work on an order that a colleague will check and finish."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet.bench import actions, queries
from fleet.bench.forms import SignForm
from fleet.bench.models import Order
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.proof import prove
from fleet.people.queries import acting
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422


@guard(May.WORK_ON_BENCH)
def sign(request: HttpRequest, number: str) -> HttpResponse:
    """Sign the steps, tests and parts as they stand; a refusal says why and signs nothing."""
    row = fetch(queries.orders(), request, number=number)
    form = SignForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and _signed(request, row, form):
        messages.success(request, f"You signed your work on order {row}. A colleague can check and finish it now.")
        return redirect("bench:order", row.number)
    fresh = queries.orders().get(pk=row.pk)
    shown = {"order": fresh, "device": fresh.device, "page": queries.order_page(fresh), "form": form}
    return render(request, "bench/sign.html", shown, status=REFUSED if request.method == "POST" else 200)


def _signed(request: HttpRequest, row: Order, form: SignForm) -> bool:
    try:
        prove(request, form.cleaned_data["password"])
        actions.sign_work(row, revision=form.cleaned_data["revision"], by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    return True
