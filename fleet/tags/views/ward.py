"""The ward's own pages: find a driver, where our drivers are, one tag, missing and found."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import Resolver404, resolve, reverse
from django.views.decorators.http import require_POST

from fleet.audit.actors import Actor
from fleet.contracts.queries import covering
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.registry.queries import by_code, devices
from fleet.schedules.actions import look_in_vain
from fleet.schedules.queries import hunt, searches_of
from fleet.tags import actions, queries
from fleet.tags.actions import report_found, report_missing
from fleet.tags.forms import FoundForm, MissingForm
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

PER_PAGE = 50
IN_SERVICE = "in_service"


@dataclass(frozen=True, slots=True)
class Tab:
    """One of the two lists of the ward's drivers."""

    label: str
    url: str
    current: bool
    count: int | None = None


@guard(May.REPORT_FAULT)
def find(request: HttpRequest) -> HttpResponse:
    """The ward's start: type or scan a driver or a tag, or pick a driver of one's own wards."""
    code = request.GET.get("code", "").strip()
    if address := _address_of(request, code):
        return redirect(address)
    person = person_of(request)
    page = {
        "code": code,
        "recent": queries.recent_drivers(person),
        "benches": queries.benches_of(person) if code else (),
    }
    return render(request, "tags/find.html", page)


def _address_of(request: HttpRequest, code: str) -> str:
    """Where a typed or scanned text leads: a label's link, a tag, or the report page; empty when nowhere."""
    person = person_of(request)
    if "/r/" in code:
        return _label_address(code[code.index("/r/") :])
    if tag := queries.tags_numbered(code).within(person).first():
        return reverse("tags:tag", args=[tag.number])
    device = by_code(code)
    if device and Device.objects.within(person).filter(pk=device.pk).exists():
        return reverse("tags:report", args=[device.asset_number])
    return ""


def _label_address(path: str) -> str:
    try:
        match = resolve(path)
    except Resolver404:
        return ""
    return reverse("tags:label", kwargs=match.kwargs) if match.view_name == "tags:label" else ""


@guard(May.REPORT_FAULT)
def ours(request: HttpRequest) -> HttpResponse:
    """Where each tagged, held or missing driver of one's places is, and which came back; or those in service."""
    person = person_of(request)
    if request.GET.get("show") == IN_SERVICE:
        rows = Paginator(queries.in_service(person), PER_PAGE).get_page(request.GET.get("page"))
        shown = {"rows": rows, "tabs": _tabs(IN_SERVICE), "training": queries.for_training(person)}
        return render(request, "tags/in_service.html", shown)
    rows = Paginator(queries.ours(person), PER_PAGE).get_page(request.GET.get("page"))
    back = queries.lately_back(person)[:PER_PAGE]
    lost = queries.not_located(person)
    page = {"rows": rows, "back": back, "lost": lost[:PER_PAGE], "lost_count": lost.count(), "today": clock.today()}
    return render(request, "tags/ours.html", {**page, "tabs": _tabs("")})


def _tabs(current: str) -> list[Tab]:
    address = reverse("tags:ours")
    return [Tab("Out of use", address, not current), Tab("In service", f"{address}?show={IN_SERVICE}", bool(current))]


@guard(May.REPORT_FAULT)
@require_POST
def say_use(request: HttpRequest, asset: str) -> HttpResponse:
    """One tap: this driver is in use now, or idle and can be fetched."""
    device = fetch(devices(), request, asset_number=asset)
    try:
        actions.say_use(device, in_use=request.POST.get("use") == "in_use", by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    known = {"show": IN_SERVICE, "page": request.POST.get("page") or "1"}
    return redirect(f"{reverse('tags:ours')}?{urlencode(known)}#driver-{device.pk}")


@guard(May.REPORT_FAULT, May.WORK_ON_BENCH)
def tag(request: HttpRequest, number: str) -> HttpResponse:
    """One tag: every report on it, and where its driver is."""
    row = fetch(queries.tags_numbered(number).prefetch_related("reports", "alerts__kind", "quarantines"), request)
    device, today = row.device, clock.today()
    until = device.warranty_until
    shown = {
        "tag": row,
        "contamination": queries.contamination(row),
        "covers": [] if row.cleared_at else covering(device, today),
        "warranty": until if until and until >= today and not row.cleared_at else None,
    }
    return render(request, "tags/tag.html", shown)


@guard(May.REPORT_FAULT, May.WORK_ON_BENCH)
def missing(request: HttpRequest, asset: str) -> HttpResponse:
    """Record a search in vain; often and long enough, and the driver counts as not located."""
    device = fetch(devices(), request, asset_number=asset)
    person = person_of(request)
    form = MissingForm(
        request.POST if request.method == "POST" else None,
        places=queries.places_to_choose(person, device),
        may_be_certain=person.may(May.DEFER_DUE),
        initial={"place": device.place_id},
    )
    if form.is_valid():
        try:
            words = _looked(device, form.cleaned_data, acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect("tags:ours")
    page = {"device": device, "form": form, "hunt": hunt(device), "searches": searches_of(device)}
    return render(request, "tags/missing.html", page)


def _looked(device: Device, typed: dict[str, Any], by: Actor) -> str:
    if typed.get("certain"):
        report_missing(device, why=typed["why"], by=by)
    else:
        look_in_vain(device, typed["place"], note=typed["why"], by=by)
    device.refresh_from_db()
    if device.condition == Condition.NOT_LOCATED.value:
        return f"{device} is on record as not located."
    found = hunt(device)
    return f"Your search for {device} is recorded: day {len(found.days)} of {found.rule.search_attempts}."


@guard(May.REPORT_FAULT, May.WORK_ON_BENCH)
def found(request: HttpRequest, asset: str) -> HttpResponse:
    """Report where a missing driver was found."""
    device = fetch(devices(), request, asset_number=asset)
    places = queries.places_to_choose(person_of(request), device)
    form = FoundForm(request.POST if request.method == "POST" else None, places=places)
    if form.is_valid():
        place = form.cleaned_data["place"]
        try:
            report_found(device, place, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(
                request, f"{device} was found at {place}. It stays out of use until the bench has checked it."
            )
            return redirect("tags:ours")
    return render(request, "tags/found.html", {"device": device, "form": form})
