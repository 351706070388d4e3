"""One delivery: scanned into one after another, taken in with one press, its labels printed together."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.deliveries import actions, queries
from fleet.deliveries.actions import Heard, Scanned
from fleet.deliveries.forms import DropForm, TypeForm
from fleet.deliveries.models import Delivery
from fleet.people.queries import acting, person_of
from fleet.registry.labels import label_of
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422
#: What the page's own script says when it sends scans one after another and wants only the list back.
_QUEUED = "scan-queue"
_SHAPES = {Heard.ADDED: "pass", Heard.HERE: "twice", Heard.UNREADABLE: "fail", Heard.TYPE_UNKNOWN: "caution"}


@guard(May.HAND_OVER)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """The delivery: to scan into while it is open, a record with how many are accepted afterwards."""
    return _page(request, _fetched(request, pk))


@guard(May.HAND_OVER)
def scan(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one scan. Somebody who had to sign in again in between comes here by GET and finds the list so far."""
    row = _fetched(request, pk)
    if request.method != "POST":
        return redirect("deliveries:one", row.pk)
    try:
        heard = actions.scan(row, request.POST.get("code", ""), by=acting(request))
    except BenchwardError as error:
        heard = Scanned(Heard.UNREADABLE, str(error))
    return _page(request, row, heard)


@guard(May.HAND_OVER)
@require_POST
def learn(request: HttpRequest, pk: int) -> HttpResponse:
    """The type of an identifier nobody has met before: remembered, and the driver added."""
    row = _fetched(request, pk)
    form = TypeForm(request.POST)
    if not form.is_valid():
        return _page(request, row, status=REFUSED)
    given = form.cleaned_data
    try:
        heard = actions.learn(row, given["code"], given["device_type"], by=acting(request))
    except BenchwardError as error:
        heard = Scanned(Heard.UNREADABLE, str(error))
    return _page(request, row, heard)


@guard(May.HAND_OVER)
@require_POST
def take_out(request: HttpRequest, pk: int, line: int) -> HttpResponse:
    """Undo a scan."""
    row = _fetched(request, pk)
    held = get_object_or_404(row.lines, pk=line)
    try:
        actions.take_out(held, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Serial {held.serial_number} is taken out.")
    return redirect("deliveries:one", row.pk)


@guard(May.HAND_OVER)
@require_POST
def compared(request: HttpRequest, pk: int) -> HttpResponse:
    """Say of one line, or of all, that its label reads as its code was read."""
    row, line = _fetched(request, pk), request.POST.get("line", "")
    try:
        many = actions.compared(row, int(line) if line.isdecimal() else None, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Compared with the label: {many}.")
    return redirect("deliveries:one", row.pk)


@guard(May.HAND_OVER)
@require_POST
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    """Make drivers, acceptance orders and labels together; where a row stands against it, nothing is made."""
    row = _fetched(request, pk)
    try:
        devices = actions.finish(row, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
        return redirect("deliveries:one", row.pk)
    many = f"{len(devices)} drivers are" if len(devices) > 1 else "1 driver is"
    messages.success(request, f"{many} on record and waiting for acceptance on the bench. Print and stick the labels.")
    return redirect("deliveries:labels", row.pk)


@guard(May.HAND_OVER)
@require_POST
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Drop a delivery that will not be taken in."""
    row = _fetched(request, pk)
    form = DropForm(request.POST)
    if form.is_valid():
        try:
            actions.drop(row, why=form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is dropped.")
            return redirect("deliveries:deliveries")
    return _page(request, row, drop_form=form, status=REFUSED)


@guard(May.HAND_OVER)
@require_safe
def labels(request: HttpRequest, pk: int) -> HttpResponse:
    """The labels of a delivery's drivers on one sheet."""
    row = _fetched(request, pk)
    devices = [line.device for line in queries.lines(row) if line.device]
    shown = {
        "labels": [label_of(device) for device in devices],
        "above": [*_above(), (str(row), reverse("deliveries:one", args=[row.pk]))],
        "here": f"Labels of {row}",
    }
    return render(request, "registry/labels.html", shown)


def _fetched(request: HttpRequest, pk: int) -> Delivery:
    return fetch(queries.deliveries(person_of(request)), request, pk=pk)


def _above() -> list[tuple[str, str]]:
    return [("New drivers", reverse("deliveries:deliveries"))]


def _page(
    request: HttpRequest,
    row: Delivery,
    heard: Scanned | None = None,
    *,
    drop_form: DropForm | None = None,
    status: int = 200,
) -> HttpResponse:
    asks = heard is not None and heard.heard is Heard.TYPE_UNKNOWN and heard.read is not None
    initial = {"code": heard.read.scanned, "device_type": row.device_type_id} if heard and asks and heard.read else {}
    shown = {
        "delivery": row,
        "page": queries.delivery_page(row),
        "heard": heard,
        "shape": _SHAPES[heard.heard] if heard else "",
        "type_form": TypeForm(initial=initial) if asks else None,
        "drop_form": drop_form or DropForm(),
        "above": _above(),
    }
    part = request.headers.get("X-Requested-With") == _QUEUED
    return render(request, "deliveries/_so_far.html" if part else "deliveries/one.html", shown, status=status)
