"""A driver's battery: the panel on other pages, and the page to take its pack out or to fit one."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.batteries import actions, queries
from fleet.batteries.forms import FitForm, RemoveForm
from fleet.batteries.models import Fitting
from fleet.batteries.views.common import FIRST, REFUSED, above
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.registry.queries import devices
from fleet.tags.queries import open_tag
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard


@guard(May.SEE_FLEET)
@require_safe
def device_panel(request: HttpRequest, asset: str) -> HttpResponse:
    """What the driver's battery is expected to carry: a part for other pages."""
    device = fetch(devices(), request, asset_number=asset)
    context = {"battery": queries.battery_view(device, person_of(request))}
    return render(request, "batteries/_panel.html", context)


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def device_pack(request: HttpRequest, asset: str) -> HttpResponse:
    """Take the pack out with its reason; once there is none, fit one."""
    device = fetch(devices(), request, asset_number=asset)
    stay = queries.fitting_of(device)
    form = _form(request, device, stay)
    if form.is_valid():
        try:
            words = _remove(request, device, form) if stay else _fit(request, device, form)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            # A pack that is out is followed by the next one; one that is in is done with.
            return redirect("batteries:device_pack" if stay else "reports:device", asset)
    context = {"device": device, "stay": stay, "form": form, "first": FIRST, "above": above()}
    return render(request, "batteries/device_pack.html", context, status=REFUSED if form.errors else 200)


def _form(request: HttpRequest, device: Device, stay: Fitting | None) -> forms.Form:
    data = request.POST or None
    if stay:
        return RemoveForm(data, device=device)
    return FitForm.of_pack(queries.free_packs(device, person_of(request)), data)


def _remove(request: HttpRequest, device: Device, form: forms.Form) -> str:
    typed: dict[str, Any] = form.cleaned_data
    order = queries.battery_order(device)
    stay = actions.remove(device, **removal(typed), order=order, by=acting(request))
    return f"Pack {stay.pack} is out of {device}.{tagged(device, typed)} Fit another, or scrap it on its own page."


def removal(typed: dict[str, Any]) -> dict[str, Any]:
    """What was typed of a removal, as the action takes it."""
    return {**typed, "why": Fitting.Why(typed["why"])}


def tagged(device: Device, typed: dict[str, Any]) -> str:
    """The tag that the removal has raised, in words."""
    tag = open_tag(device) if typed.get("out_of_use") else None
    return f" It is tagged out of use: write {tag.written} on a paper tag." if tag else ""


def _fit(request: HttpRequest, device: Device, form: forms.Form) -> str:
    typed: dict[str, Any] = form.cleaned_data
    order = queries.order_at_work(device)
    stay = actions.fit(typed["code"], device, on=typed["on"], known=typed["known"], order=order, by=acting(request))
    actions.refresh_if_quick(device.device_type)
    return f"Pack {stay.pack} is fitted to {device}."
