"""Device types: what is stated of each, and which drivers differ."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db import transaction
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.audit.actors import Actor
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry import actions, queries
from fleet.registry.actions import NewType, TypeChange
from fleet.registry.forms import AccessoryRows, NewTypeForm, RuntimeRows, TypeForm
from fleet.registry.models import DeviceType
from fleet.registry.plots import runtime_plot
from fleet.registry.views.tabs import above, tabs
from fleet.web import phrases
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard

_SHOWN = 50


@guard(May.SEE_FLEET)
@require_safe
def types(request: HttpRequest) -> HttpResponse:
    """All types, with how many drivers of each the person sees."""
    seen = queries.devices().within(person_of(request))
    counts = dict(seen.order_by().values_list("device_type").annotate(Count("id")))
    rows = [(row, counts.get(row.pk, 0)) for row in queries.types()]
    return render(request, "registry/types.html", {"rows": rows, "tabs": tabs("types")})


@guard(May.SEE_FLEET)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """What is stated of a type, from which source, and the drivers with values of their own."""
    row = get_object_or_404(queries.types(), pk=pk)
    own = queries.with_own_values(row).within(person_of(request))
    context = {
        "type": row,
        "facts": _facts(row),
        "plot": runtime_plot([(runtime.rate, runtime.hours) for runtime in row.rated_runtimes.all()]),
        "own": own[:_SHOWN],
        "own_url": f"{reverse('registry:devices')}?type={row.pk}&marked=own",
        "drivers_url": f"{reverse('registry:devices')}?type={row.pk}",
        "above": above("types"),
    }
    return render(request, "registry/type.html", context)


@guard(May.SEE_FLEET)
def new(request: HttpRequest) -> HttpResponse:
    """Add a type, and its maker if it is new."""
    demand(request, May.EDIT_REGISTRY)
    sheet = Sheet(NewTypeForm(request.POST or None), *_rows(request, None))
    if request.method == "POST" and sheet.is_valid():
        try:
            row = _added(sheet, acting(request))
        except BenchwardError as error:
            put_beside(sheet.form, error)
        else:
            messages.success(request, f"{row} is added. Give it a plan of its services next.")
            return redirect("registry:type", row.pk)
    return _page(request, sheet, "Add a type", "Add a type", above("types"))


@guard(May.SEE_FLEET)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what is stated of a type; drivers without a value of their own follow."""
    demand(request, May.EDIT_REGISTRY)
    row = get_object_or_404(queries.types(), pk=pk)
    sheet = Sheet(TypeForm(request.POST or None, instance=row), *_rows(request, row))
    if request.method == "POST" and sheet.is_valid() and _saved(request, row, sheet):
        messages.success(request, f"{row} is saved. Drivers without values of their own follow.")
        return redirect("registry:type", row.pk)
    way = [*above("types"), (str(row), reverse("registry:type", args=[row.pk]))]
    return _page(request, sheet, f"Change {row}", "Change", way)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The three parts of a type's form."""

    form: TypeForm
    runtimes: Any
    accessories: Any

    def is_valid(self) -> bool:
        """Whether all three are, so that every fault is shown at once."""
        return all([self.form.is_valid(), self.runtimes.is_valid(), self.accessories.is_valid()])

    def hours_at(self) -> dict[Decimal, Decimal]:
        """Rate in mL/h -> hours, of the rows that were filled in."""
        return {row["rate"]: row["hours"] for row in self.runtimes.cleaned_data if row.get("rate") is not None}

    def counts(self) -> dict[str, int]:
        """Accessory -> how many."""
        return {row["name"]: row["quantity"] for row in self.accessories.cleaned_data if row.get("name")}


def _rows(request: HttpRequest, row: DeviceType | None) -> tuple[Any, Any]:
    runtimes = row.rated_runtimes.values("rate", "hours") if row else []
    accessories = row.accessories.values("name", "quantity") if row else []
    data = request.POST or None
    return (
        RuntimeRows(data, initial=list(runtimes), prefix="runtimes"),
        AccessoryRows(data, initial=list(accessories), prefix="accessories"),
    )


@transaction.atomic
def _added(sheet: Sheet, by: Actor) -> DeviceType:
    facts = dict(sheet.form.cleaned_data)
    return actions.add_device_type(
        NewType(
            maker=actions.maker_named(facts.pop("maker_name"), by=by),
            model=facts.pop("model"),
            charging_hours=facts.pop("charging_hours"),
            reference_rate=facts.pop("reference_rate"),
            source=facts.pop("source"),
            rated_runtimes=sheet.hours_at(),
            accessories=sheet.counts(),
            facts=facts,
        ),
        by=by,
    )


def _saved(request: HttpRequest, row: DeviceType, sheet: Sheet) -> bool:
    form = sheet.form
    change = TypeChange(
        facts=form.changes(),
        rated_runtimes=sheet.hours_at(),
        accessories=sheet.counts(),
        why=form.cleaned_data["why"],
    )
    opened = form.cleaned_data["opened"]
    done = form.saved(lambda: actions.update_type(row, change, opened=opened, by=acting(request)))
    return done is not None


def _page(request: HttpRequest, sheet: Sheet, title: str, here: str, way: list[tuple[str, str]]) -> HttpResponse:
    context = {"sheet": sheet, "form": sheet.form, "title": title, "here": here, "above": way}
    return render(request, "registry/type_form.html", context)


def _facts(row: DeviceType) -> list[tuple[str, object]]:
    return [
        ("Kind", row.kind),
        ("UDI device identifier", row.di or phrases.NOT_KNOWN),
        ("If it fails", "Serious injury or death possible" if row.life_support else "No serious injury expected"),
        ("Power", row.get_power_display()),
        ("Supply", row.supply or phrases.NOT_KNOWN),
        ("Protection", _protection(row) or phrases.NOT_KNOWN),
        ("Battery chemistry", row.chemistry or phrases.NOT_KNOWN),
        ("Pack part number", row.pack_part_number or phrases.NOT_KNOWN),
        ("Charges fully in", phrases.quantity(row.charging_hours, "h")),
        ("Reference rate", phrases.quantity(row.reference_rate, "mL/h")),
        ("Replacement level", f"{phrases.quantity(row.replacement_level)} of the rated runtime"),
        ("Runtime and temperature", _temperature(row)),
        ("Expected service life", phrases.quantity(row.service_life_months, "months")),
        ("Maker's support ends", phrases.day(row.end_of_support) if row.end_of_support else phrases.NOT_KNOWN),
        (
            "Maker's schedule",
            f"Must be followed: {row.follow_maker}" if row.follow_maker else "May be departed from with reason",
        ),
        ("List price", phrases.quantity(row.price, settings.CURRENCY)),
        ("Nomenclature", _nomenclature(row) or phrases.NOT_KNOWN),
        ("Source of these facts", row.source or phrases.NOT_KNOWN),
    ]


def _protection(row: DeviceType) -> str:
    part = f"applied part of t{row.get_applied_part_display()[1:]}"
    return ", ".join(filter(None, [row.get_protection_display(), part if row.applied_part else ""]))


def _temperature(row: DeviceType) -> str:
    if row.temperature_coefficient is None:
        return "Not stated: forecasts are not corrected for it"
    gain = phrases.percent(row.temperature_coefficient, 2)
    reference = phrases.quantity(row.reference_temperature_c, "°C")
    return f"{gain} more for each °C above {reference}; forecasts are corrected to it, tests are shown as measured"


def _nomenclature(row: DeviceType) -> str:
    return " ".join(filter(None, (row.nomenclature_scheme, row.nomenclature_version, row.nomenclature_code)))
