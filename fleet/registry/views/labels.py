"""Labels to print, for one driver or many."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from fleet.core.permissions import May
from fleet.people.queries import acting
from fleet.registry import actions, queries
from fleet.registry.labels import label_of
from fleet.registry.views.devices import narrowed
from fleet.registry.views.tabs import above
from fleet.web.guards import demand, fetch, guard

MOST = 500


@guard(May.WORK_ON_BENCH, May.EDIT_REGISTRY)
@require_safe
def label(request: HttpRequest, asset: str) -> HttpResponse:
    """One driver's label."""
    device = fetch(queries.devices(), request, asset_number=asset)
    context = {"labels": [label_of(device)], "device": device, "above": above("devices"), "here": f"Label of {device}"}
    return render(request, "registry/labels.html", context)


@guard(May.WORK_ON_BENCH, May.EDIT_REGISTRY)
@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """A sheet for the drivers that were ticked, or else for the list as it was narrowed (its first 500)."""
    picked = request.GET.getlist("asset")
    rows = narrowed(request).qs.order_by("asset_number")
    if picked:
        rows = rows.filter(asset_number__in=picked)
    drivers = list(rows[: MOST + 1])
    context = {
        "labels": [label_of(device) for device in drivers[:MOST]],
        "more": len(drivers) > MOST,
        "above": above("devices"),
        "here": "Labels",
    }
    return render(request, "registry/labels.html", context)


@guard(May.WORK_ON_BENCH, May.EDIT_REGISTRY)
@require_POST
def renew(request: HttpRequest, asset: str) -> HttpResponse:
    """Make the labels printed so far stop working, because one was copied or lost."""
    demand(request, May.EDIT_REGISTRY)
    device = fetch(queries.devices(), request, asset_number=asset)
    actions.renew_label(device, by=acting(request))
    messages.success(request, f"The old labels of {device} no longer open anything. Print this one and stick it on.")
    return redirect("registry:label", device.asset_number)
