"""The kit of a procedure, and what an hour of the bench costs."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from fleet.bench import actions, queries
from fleet.bench.models import Procedure
from fleet.bench.spending_forms import KitForm, RateForm
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard

REFUSED = 422


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def kit(request: HttpRequest, code: str) -> HttpResponse:
    """Which parts a procedure normally takes; whoever keeps the register states it."""
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
    row = get_object_or_404(Procedure.objects.select_related("device_type__maker"), code=code)
    form = KitForm(request.POST or None, lines=list(queries.kit_of(row)))
    if form.is_valid():
        try:
            lines = actions.set_kit(row, form.kit(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"The kit of {row} has {len(lines)} part{'' if len(lines) == 1 else 's'}.")
            return redirect("bench:kit", row.code)
    context = {"procedure": row, "form": form, "may_edit": person_of(request).may(May.EDIT_REGISTRY)}
    return render(request, "bench/kit.html", context, status=REFUSED if form.errors else 200)


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_http_methods(["GET", "HEAD", "POST"])
def rates(request: HttpRequest) -> HttpResponse:
    """What an hour of the bench costs since when; whoever keeps the register states it."""
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
    form = RateForm(request.POST or None, initial={"from_on": clock.today()})
    if form.is_valid():
        try:
            row = actions.set_rate(by=acting(request), **form.cleaned_data)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"An hour costs {row.per_hour} {settings.CURRENCY} from then on.")
            return redirect("bench:rates")
    context = {
        "rates": queries.rates(),
        "form": form,
        "currency": settings.CURRENCY,
        "may_edit": person_of(request).may(May.EDIT_REGISTRY),
    }
    return render(request, "bench/rates.html", context, status=REFUSED if form.errors else 200)
