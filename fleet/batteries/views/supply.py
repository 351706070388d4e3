"""How packs of a type are bought: how long delivery takes, what is on order, how sure the shelf must be."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from fleet.batteries import actions, queries
from fleet.batteries.forms import PurchaseForm, SupplyForm
from fleet.batteries.models import PackPurchase
from fleet.batteries.policy_wording import service_words
from fleet.batteries.views.common import REFUSED, above
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.people.queries import acting
from fleet.registry.models import DeviceType
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def supply(request: HttpRequest, pk: int) -> HttpResponse:
    """What is stated of a type's supply; whoever keeps the store states it."""
    device_type = get_object_or_404(queries.types_with_packs(), pk=pk)
    if request.method == "POST":
        demand(request, May.KEEP_STORE)
    form = SupplyForm(request.POST or None, instance=queries.supply_of(device_type))
    if form.is_valid() and _saved(request, device_type, form):
        messages.success(request, f"The supply of packs for {device_type} is stated.")
        return redirect(f"{reverse('batteries:fleet')}?type={device_type.pk}")
    return _page(request, device_type, form, PurchaseForm())


def _page(request: HttpRequest, device_type: DeviceType, form: SupplyForm, order: PurchaseForm) -> HttpResponse:
    row = queries.supply_of(device_type)
    context = {
        "above": [*above(), ("Packs to hold", f"{reverse('batteries:fleet')}?type={device_type.pk}")],
        "type": device_type,
        "supply": row,
        "service": service_words(row.service_level),
        "on_shelf": queries.on_shelf(device_type),
        "form": form,
        "order": order,
        "purchases": queries.open_purchases().filter(device_type=device_type),
        "today": clock.today(),
        "currency": settings.CURRENCY,
    }
    status = REFUSED if form.errors or order.errors else 200
    return render(request, "batteries/supply.html", context, status=status)


@guard(May.KEEP_STORE)
@require_POST
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that packs were ordered; what is on order already stays as it is."""
    device_type = get_object_or_404(queries.types_with_packs(), pk=pk)
    form = PurchaseForm(request.POST)
    if form.is_valid():
        try:
            row = actions.order_packs(device_type, **form.cleaned_data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} are noted as ordered.")
            return redirect("batteries:supply", pk)
    return _page(request, device_type, SupplyForm(instance=queries.supply_of(device_type)), form)


@guard(May.KEEP_STORE)
@require_POST
def call_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Let an order of packs be expected no more."""
    row = get_object_or_404(PackPurchase, pk=pk)
    try:
        actions.call_off_packs(row, request.POST.get("why", ""), by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{row} are expected no more.")
    return redirect("batteries:supply", row.device_type_id)


def _saved(request: HttpRequest, device_type: DeviceType, form: SupplyForm) -> bool:
    try:
        actions.set_supply(device_type, form.changes(), opened=form.cleaned_data["opened"], by=acting(request))
    except ConflictError as error:
        form.add_error(None, str(error))
        form.show_what_stands(queries.supply_of(device_type))
    except BenchwardError as error:
        put_beside(form, error)
    else:
        return True
    return False
