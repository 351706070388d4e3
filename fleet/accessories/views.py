"""The pages of accessories: what is missing by place, counting, what came of it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.accessories import actions, queries
from fleet.accessories.forms import CountForm, DescribeForm, EndForm, SearchForm
from fleet.accessories.models import Missing, Tally
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.actions import describe_accessory
from fleet.registry.models import Accessory
from fleet.registry.queries import devices
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422
MOST = 300


@guard(May.HAND_OVER, May.WORK_ON_BENCH)
@require_safe
def missing(request: HttpRequest) -> HttpResponse:
    """What is missing, under the place it was missed from."""
    person, form = person_of(request), SearchForm(request.GET)
    rows = queries.missing().within(person)
    words = form.cleaned_data["q"].strip() if form.is_valid() else ""
    found = list((queries.named(rows, words) if words else rows)[: MOST + 1])
    shown = {
        "form": form,
        "words": words,
        "places": queries.by_place(found[:MOST]),
        "many": len(found[:MOST]),
        "more": len(found) > MOST,
        "ended": queries.lately_ended(person),
    }
    return render(request, "accessories/missing.html", shown)


@guard(May.REPORT_FAULT)
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One missing accessory: what to do, and what came of it."""
    row = fetch(Missing.objects.select_related("device__device_type__maker", "accessory", "place"), request, pk=pk)
    form = EndForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        how = Missing.Ended(form.cleaned_data["ended"])
        try:
            actions.end(row, how, note=form.cleaned_data["note"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row.accessory} of {row.device}: {how.label.lower()}.")
            return redirect("reports:device", row.device.asset_number)
    shown = {"row": row, "form": form, "what_to_do": queries.what_to_do(row.accessory)}
    return render(request, "accessories/one.html", shown, status=REFUSED if form.errors else 200)


@guard(May.HAND_OVER, May.WORK_ON_BENCH)
def count(request: HttpRequest, asset: str) -> HttpResponse:
    """Count what lies with a driver, where it is."""
    device = fetch(devices(), request, asset_number=asset)
    form = CountForm(request.POST or None, device=device, needed=False)
    if request.method == "POST" and form.is_valid():
        try:
            lacking = actions.count(device, form.counted(), Tally.Occasion.LOOKED, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            words = ", ".join(str(each.accessory) for each in lacking)
            messages.success(request, f"{device} is counted. {f'Missing: {words}.' if words else 'All is with it.'}")
            return redirect("reports:device", device.asset_number)
    shown = {"device": device, "form": form, "last": queries.last_tally(device)}
    return render(request, "accessories/count.html", shown, status=REFUSED if form.errors else 200)


@guard(May.SEE_FLEET)
def describe(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what to do when an accessory of a type is missing."""
    row = get_object_or_404(Accessory.objects.select_related("device_type__maker"), pk=pk)
    initial = {"part_number": row.part_number, "if_missing": row.if_missing}
    form = DescribeForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            describe_accessory(row, **form.cleaned_data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is saved.")
            return redirect("registry:type", row.device_type_id)
    above = [(str(row.device_type), reverse("registry:type", args=[row.device_type_id]))]
    shown = {"accessory": row, "form": form, "above": above}
    return render(request, "accessories/describe.html", shown, status=REFUSED if form.errors else 200)
