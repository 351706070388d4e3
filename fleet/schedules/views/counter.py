"""A driver's running-hours counter that begins anew: the total goes on."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting
from fleet.registry.queries import devices
from fleet.schedules import actions, queries
from fleet.schedules.forms import RestartForm
from fleet.web import phrases
from fleet.web.forms import alternative, put_beside
from fleet.web.guards import fetch, guard


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def restart(request: HttpRequest, asset: str) -> HttpResponse:
    """Record that the counter was restarted, with what the old and the new one read."""
    row = fetch(devices(), request, asset_number=asset)
    form = RestartForm(request.POST or None)
    alternative(form.fields["last"])
    if form.is_valid():
        typed = form.cleaned_data
        try:
            actions.restart_hours(row, typed["reads"], last=typed["last"], why=typed["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            row.refresh_from_db()
            total = phrases.quantity(queries.total_hours(row), "h")
            messages.success(request, f"The counter of {row} begins anew; in all it has run {total}.")
            return redirect("reports:device", asset)
    above = [(row.asset_number, reverse("reports:device", args=[asset]))]
    context = {"device": row, "form": form, "total": queries.total_hours(row), "above": above}
    return render(request, "schedules/counter.html", context)
