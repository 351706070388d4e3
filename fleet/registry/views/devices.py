"""Drivers: the list, adding one, changing its facts."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.permissions import May
from fleet.core.udi import Udi, parse_udi
from fleet.people.queries import acting, person_of
from fleet.registry import actions, queries
from fleet.registry.actions import NewDevice
from fleet.registry.filters import DeviceFilter
from fleet.registry.forms import DeviceForm, NewDeviceForm, TransferForm
from fleet.registry.models import Device
from fleet.registry.tables import CSV_HEADER, DeviceTable, csv_rows
from fleet.registry.views.tabs import above, tabs
from fleet.web import clock, csv_out
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard
from fleet.web.paging import paged

_CHUNK = 2000


def narrowed(request: HttpRequest) -> DeviceFilter:
    """The drivers the person sees, narrowed by the address."""
    rows = queries.devices().select_related("home__site").within(person_of(request))
    return DeviceFilter(request.GET, queryset=rows, request=request)


@guard(May.SEE_FLEET)
@require_safe
def devices(request: HttpRequest) -> HttpResponse:
    """The drivers, narrowed and sorted."""
    few = narrowed(request)
    table = DeviceTable(few.qs)
    paged(request, table)
    context = {"filter": few, "table": table, "tabs": tabs("devices"), "query": request.GET.urlencode()}
    return render(request, "registry/devices.html", context)


@guard(May.SEE_FLEET)
@require_safe
def devices_csv(request: HttpRequest) -> HttpResponseBase:
    """The same drivers as a file."""
    rows = narrowed(request).qs.order_by("asset_number").iterator(chunk_size=_CHUNK)
    return csv_out.answer("drivers", CSV_HEADER, csv_rows(rows))


@guard(May.SEE_FLEET)
def new(request: HttpRequest) -> HttpResponse:
    """Add a driver that was delivered; scanning its UDI first fills in what the code says."""
    demand(request, May.EDIT_REGISTRY)
    scanned, problem = _scanned(request.GET.get("udi", ""))
    initial = _initial(scanned) if scanned else {"udi": request.GET.get("udi", "")}
    form = NewDeviceForm(request.POST or None, person=person_of(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            device = actions.add_device(_new_device(form), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{device} is added. It waits for its acceptance check on the bench.")
            return redirect("registry:label", device.asset_number)
    context = {"form": form, "scanned": scanned, "problem": problem, "above": above("devices")}
    return render(request, "registry/device_new.html", context)


@guard(May.SEE_FLEET)
def edit(request: HttpRequest, asset: str) -> HttpResponse:
    """Change a driver's facts."""
    demand(request, May.EDIT_REGISTRY)
    device = fetch(queries.devices(), request, asset_number=asset)
    form = DeviceForm(request.POST or None, person=person_of(request), instance=device)
    if request.method == "POST" and form.is_valid() and _saved(request, device, form):
        messages.success(request, f"{device} is saved.")
        return redirect("reports:device", device.asset_number)
    context = {"form": form, "device": device, "above": above("devices")}
    return render(request, "registry/device_edit.html", context)


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def transfer(request: HttpRequest, asset: str) -> HttpResponse:
    """Give a driver another home for good, with its condition on record."""
    demand(request, May.EDIT_REGISTRY)
    device = fetch(queries.devices(), request, asset_number=asset)
    form = TransferForm(request.POST or None, person=person_of(request), initial={"on": clock.today()})
    if form.is_valid():
        try:
            done = actions.transfer(device, form.handover(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{device} belongs to {done.to_place} from now on.")
            return redirect("reports:device", device.asset_number)
    way = [(device.asset_number, reverse("reports:device", args=[asset]))]
    shown = {"form": form, "device": device, "before": device.transfers.select_related("from_place", "to_place")}
    status = 422 if form.errors else 200
    return render(request, "registry/transfer.html", {**shown, "above": way}, status=status)


def _saved(request: HttpRequest, device: Device, form: DeviceForm) -> bool:
    data = form.cleaned_data
    return (
        form.saved(
            lambda: actions.edit_device(
                device, form.changes(), why=data["why"], opened=data["opened"], by=acting(request)
            )
        )
        is not None
    )


def _scanned(text: str) -> tuple[Udi | None, str]:
    """What a scanned UDI says, or why it can't be read."""
    if not text.strip():
        return None, ""
    try:
        return parse_udi(text, clock.today().year), ""
    except BadValueError as error:
        return None, str(error)


def _initial(scanned: Udi) -> dict[str, Any]:
    known = queries.type_of_di(scanned.di)
    facts = {"udi": scanned.raw.strip(), "di": scanned.di, "serial_number": scanned.serial, "lot": scanned.lot}
    return {**facts, "device_type": known.pk if known else None}


def _new_device(form: NewDeviceForm) -> NewDevice:
    facts = dict(form.cleaned_data)
    return NewDevice(
        asset_number=facts.pop("asset_number"),
        serial_number=facts.pop("serial_number"),
        device_type=facts.pop("device_type"),
        home=facts.pop("home"),
        facts=facts,
    )
