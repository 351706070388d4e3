"""What was measured with an instrument found out of its limits, and the orders that recheck it."""

from collections.abc import Iterator
from typing import Final, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from fleet.bench import actions, queries
from fleet.bench.trace_forms import OffForm
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.stores.models import Calibration, Instrument
from fleet.web import csv_out
from fleet.web.guards import fetch, guard

REFUSED = 422
HEADER: Final = (
    "Asset number", "Type", "Place now", "Condition", "Order", "Measured", "Value", "Limits", "Margin", "Unit",
    "Uncertainty", "Margin in uncertainties", "Within the uncertainty", "Taken at", "By", "Replaced since", "Recheck",
)  # fmt: skip


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def trace(request: HttpRequest, pk: int) -> HttpResponse:
    """The drivers and readings in doubt; sent, it raises rechecks for those ticked, or all. `?as=csv` is the list."""
    fetch(Instrument.objects.all(), request, calibrations__pk=pk)
    out = Calibration.objects.filter(as_found=Calibration.AsFound.OUT).select_related("instrument__place")
    calibration = get_object_or_404(out, pk=pk)
    refusal = ""
    if request.method == "POST":
        try:
            raised = actions.raise_rechecks(calibration, _chosen(request, calibration), by=acting(request))
        except BenchwardError as error:
            refusal = str(error)
        else:
            messages.success(request, _told(raised))
            return redirect("bench:trace", pk)
    found = queries.traced(calibration, person_of(request))
    if request.GET.get("as") == "csv":
        name = f"measured-with-{calibration.instrument.pk}-{calibration.done_on:%Y-%m-%d}"
        return cast("HttpResponse", csv_out.answer(name, HEADER, _lines(found)))
    shown = {"calibration": calibration, "refusal": refusal, **_shown(request, calibration.instrument, found)}
    return render(request, "bench/trace.html", shown, status=REFUSED if refusal else 200)


def _shown(request: HttpRequest, instrument: Instrument, found: queries.Trace) -> dict[str, object]:
    """The drivers, those first that the error typed could have turned; within them those nearest their limits."""
    form = OffForm(request.GET if "off" in request.GET else None)
    off = form.cleaned_data["off"] if form.is_valid() else None
    waiting = _open(found)
    rows = [
        (each, each.could_fail(off), [(taken, taken.could_fail(off), taken.corrected(off)) for taken in each.taken])
        for each in found.drivers
    ]
    return {
        "form": form,
        "off": off,
        "rows": sorted(rows, key=lambda row: not row[1]),
        "could_fail": sum(row[1] for row in rows),
        "ticked": sum(row[1] and row[0] in waiting for row in rows),
        "instrument": instrument,
        "trace": found,
        "open": waiting,
        "above": [
            ("Instruments", reverse("stores:instruments")),
            (instrument.number, reverse("stores:instrument", args=[instrument.pk])),
        ],
    }


def _open(found: queries.Trace) -> list[queries.Doubted]:
    """The drivers that have no recheck yet and can have one."""
    return [each for each in found.drivers if each.recheck is None and each.device.condition != Condition.RETIRED]


def _chosen(request: HttpRequest, calibration: Calibration) -> list[Device]:
    """The drivers ticked, of those the person sees; or all that have no recheck yet."""
    if request.POST.get("all"):
        return [each.device for each in _open(queries.traced(calibration, person_of(request)))]
    asked = [int(pk) for pk in request.POST.getlist("device") if pk.isdecimal()]
    return list(Device.objects.within(person_of(request)).filter(pk__in=asked))


def _told(raised: actions.Raised) -> str:
    """Say what came of it: `3 recheck orders are raised; 2 had one already.`."""
    parts = [f"{len(raised.new)} recheck order{'s are' if len(raised.new) != 1 else ' is'} raised"]
    if raised.noted:
        parts.append(f"{len(raised.noted)} noted on a planned order that was open")
    if raised.there:
        parts.append(f"{len(raised.there)} had one already")
    if raised.retired:
        parts.append(f"{len(raised.retired)} left, being retired")
    return "; ".join(parts) + "."


def _lines(found: queries.Trace) -> Iterator[list[csv_out.Cell]]:
    for each in found.drivers:
        for taken in each.taken:
            yield _line(each, taken)


def _line(each: queries.Doubted, taken: queries.Taken) -> list[csv_out.Cell]:
    near, device = taken.near, each.device
    measured: list[csv_out.Cell] = [None, "", None, None, ""]
    if near is not None:
        times = None if near.times is None else round(near.times, 3)
        measured = [near.margin, near.unit, near.uncertainty, times, near.guarded.label if near.guarded else ""]
    return [
        device.asset_number,
        str(device.device_type),
        str(device.place),
        device.get_condition_display(),
        taken.order.number,
        taken.what,
        taken.value,
        taken.limits,
        *measured,
        f"{timezone.localtime(taken.taken_at):%Y-%m-%d %H:%M}",
        taken.by,
        "yes" if taken.replaced else "",
        str(each.recheck or ""),
    ]
