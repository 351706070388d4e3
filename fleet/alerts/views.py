"""Pages about what drivers raise: the open ones, one of them, recording one by hand."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.alerts import actions, queries
from fleet.alerts.filters import AlertFilter
from fleet.alerts.forms import ClearForm, RecordForm
from fleet.alerts.models import Alert
from fleet.alerts.tables import AlertTable
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard
from fleet.web.paging import paged


@guard(May.SEE_FLEET)
@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """Every open alert within the person's places, longest open first."""
    narrowed = AlertFilter(request.GET, queryset=queries.open_alerts(person=person_of(request)), request=request)
    table = AlertTable(narrowed.qs)
    paged(request, table)
    context = {
        "filter": narrowed,
        "table": table,
        "count": narrowed.qs.count(),
        "may_record": request.user.has_perm(f"fleet.{May.WORK_ON_BENCH.value}"),
    }
    return render(request, "alerts/list.html", context)


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One alert; whoever may clear it gives the reason here."""
    rows = Alert.objects.select_related("kind", "device__device_type__maker", "device__home__site")
    alert = fetch(rows, request, pk=pk)
    form = ClearForm(request.POST or None)
    if request.method == "POST":
        demand(request, May.CLEAR_ALERT)
        if _cleared(request, alert, form):
            return redirect("alerts:list")
    context = {
        "alert": alert,
        "form": form,
        "above": [("Alerts", reverse("alerts:list"))],
        "may_clear": alert.closed_at is None and request.user.has_perm(f"fleet.{May.CLEAR_ALERT.value}"),
    }
    return render(request, "alerts/one.html", context)


def _cleared(request: HttpRequest, alert: Alert, form: ClearForm) -> bool:
    if not form.is_valid():
        return False
    try:
        actions.clear(alert, why=form.cleaned_data["why"], by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(request, f"“{alert.kind}” on {alert.device} is cleared.")
    return True


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Record by hand what a driver raised."""
    form = RecordForm(request.POST or None, person=person_of(request), initial={"code": request.GET.get("device", "")})
    if form.is_valid() and (alert := _recorded(request, form)):
        messages.success(request, f"“{alert.kind}” on {alert.device} is on record, seen {_times(alert.times)} in all.")
        return redirect("alerts:one", pk=alert.pk)
    return render(request, "alerts/new.html", {"form": form, "above": [("Alerts", reverse("alerts:list"))]})


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _recorded(request: HttpRequest, form: RecordForm) -> Alert | None:
    typed = form.cleaned_data
    device: Device = typed["code"]
    try:
        return actions.record(
            device,
            typed["kind"],
            at=typed["at"] or clock.now(),
            source=typed["source"],
            seen_by=typed["seen_by"],
            screen_text=typed["screen_text"],
            times=typed["times"],
            by=acting(request),
        )
    except BenchwardError as error:
        put_beside(form, error)
        return None
