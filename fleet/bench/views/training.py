"""Making a driver on the bench a training unit, or ending that."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from fleet.bench import actions
from fleet.bench.retire_forms import FromTrainingForm, ToTrainingForm
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.queries import acting
from fleet.registry.actions import make_training
from fleet.registry.models import Device
from fleet.registry.queries import devices
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422


@guard(May.EDIT_REGISTRY)
def training(request: HttpRequest, asset: str) -> HttpResponse:
    """Out of service only: on the bench, with a reason. Back to patients only over acceptance."""
    device = fetch(devices(), request, asset_number=asset)
    ends = device.pool == Device.Pool.TRAINING
    form = FromTrainingForm(request.POST or None) if ends else ToTrainingForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            words = _done(request, device, form)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect("reports:device", device.asset_number)
    above = [(str(device), reverse("reports:device", args=[asset]))]
    facts = {"device": device, "ends": ends, "on_bench": device.condition == Condition.ON_BENCH}
    shown = {**facts, "form": form, "above": above}
    return render(request, "bench/training.html", shown, status=REFUSED if form.errors else 200)


def _done(request: HttpRequest, device: Device, form: FromTrainingForm | ToTrainingForm) -> str:
    why = form.cleaned_data["why"]
    if isinstance(form, ToTrainingForm):
        make_training(device, why=why, by=acting(request))
        return f"{device} is a training unit from now on. Print its new label and stick it on."
    pool = Device.Pool(form.cleaned_data["pool"])
    order = actions.end_training(device, pool, why=why, by=acting(request))
    return f"{device} is no training unit any more. Acceptance order {order} decides whether it goes to patients."
