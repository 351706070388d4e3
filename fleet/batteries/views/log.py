"""Log one runtime test: scan, type, see at once what it is worth, scan the next."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.batteries import actions, queries
from fleet.batteries.forms import RunForm, VoidForm
from fleet.batteries.models import Forecast, RuntimeTest
from fleet.batteries.views.common import FIRST, PROMISE, REFUSED, above
from fleet.bench.models import Order
from fleet.bench.queries import find, orders
from fleet.core.errors import BenchwardError
from fleet.core.orders import OPEN_STATES
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.web import clock, phrases
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

LATEST = 50


@guard(May.LOG_RUNTIME_TEST)
@require_http_methods(["GET", "HEAD", "POST"])
def log(request: HttpRequest) -> HttpResponse:
    """Ask for the driver, then for the test."""
    device, order, words = _driver(request)
    if device is None:
        context = {"words": words, "code": request.GET.get("device", ""), "above": above()}
        return render(request, "batteries/scan.html", context)
    form = RunForm(request.POST or None, initial=_usual(device))
    if form.is_valid():
        try:
            test = actions.log_test(form.new_test(device, order), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, _moved(test))
            return redirect("batteries:test", test.pk)
    return _page(request, device, order, form)


def _page(request: HttpRequest, device: Device, order: Order | None, form: RunForm) -> HttpResponse:
    context = {
        "above": above(),
        "device": device,
        "order": order,
        "pack": queries.fitted_pack(device),
        "form": form,
        "rated": device.device_type.rated_runtimes.all(),
        "first": FIRST,
        "address": request.get_full_path(),
    }
    return render(request, "batteries/log.html", context, status=REFUSED if form.errors else 200)


def _driver(request: HttpRequest) -> tuple[Device | None, Order | None, str]:
    """The driver and order that the address names, or words that say why there is none."""
    person, code = person_of(request), request.GET.get("device", "").strip()
    if number := request.GET.get("order", "").strip():
        order = orders().within(person).filter(number=number, state__in=[s.value for s in OPEN_STATES]).first()
        return (order.device, order, "") if order else (None, None, f"No open order here has the number {number}.")
    if not code:
        return None, None, ""
    found = find(code, person)
    return found.device, queries.battery_order(found.device) if found.device else None, found.words


def _usual(device: Device) -> dict[str, object]:
    return {
        "charge_hours": device.charging_hours,
        "rate": device.device_type.reference_rate,
        "syringe_ml": queries.last_syringe(device.device_type),
        "started_on": clock.today(),
        "stop": RuntimeTest.Stop.RAN_FLAT.value,
    }


def _moved(test: RuntimeTest) -> str:
    """Forecast the type anew and say how the expected crossing moved, where there is one."""
    before = Forecast.objects.filter(pack=test.pack_id).first()
    if not actions.refresh_if_quick(test.device.device_type):
        return "Logged. The forecast follows tonight."
    after = Forecast.objects.filter(pack=test.pack_id).first()
    if after is None or after.crossing_on is None:
        return "Logged."
    if after.already_below:
        return "Logged. The pack now counts as below its replacement level."
    if before is None or before.crossing_on is None:
        return f"Logged. The level is expected to be passed on {phrases.day(after.crossing_on)}."
    if before.crossing_on == after.crossing_on:
        return f"Logged. The expected crossing stays {phrases.day(after.crossing_on)}."
    moved = f"from {phrases.day(before.crossing_on)} to {phrases.day(after.crossing_on)}"
    return f"Logged. The expected crossing moved {moved}."


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def test(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a test is worth, and void it where it is wrong."""
    row = fetch(queries.tests(), request, pk=pk)
    form = VoidForm(request.POST or None)
    if request.method == "POST":
        demand(request, May.LOG_RUNTIME_TEST)
    if form.is_valid():
        try:
            actions.void_test(row, why=form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            actions.refresh_if_quick(row.device.device_type)
            messages.success(request, "The test is void. It stays on record and counts for nothing.")
            return redirect("batteries:test", pk)
    context = {
        "above": above(),
        "line": queries.made_test(row, row.device.replacement_level),
        "record": queries.pack_record(row.pack, person_of(request)),
        "form": form,
    }
    return render(request, "batteries/test.html", context, status=REFUSED if form.errors else 200)


@guard(May.SEE_FLEET)
@require_safe
def logged(request: HttpRequest) -> HttpResponse:
    """The tests of a rack that was just logged, or the latest ones."""
    rows = queries.tests().within(person_of(request))
    asked = [int(pk) for pk in request.GET.get("of", "").split(",") if pk.isdecimal()]
    rows = rows.filter(pk__in=asked).order_by("pk") if asked else rows.order_by("-pk")[:LATEST]
    lines = [queries.made_test(row, row.device.replacement_level) for row in rows]
    below = [line for line in lines if asked and line.is_value and not line.meets and not line.test.voided_at]
    context = {"lines": lines, "asked": asked, "below": below, "promise": PROMISE, "above": above()}
    return render(request, "batteries/logged.html", context)
