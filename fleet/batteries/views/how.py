"""How the forecasts are computed: the method in formulas, and a type's own numbers."""

from typing import Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.batteries import wording
from fleet.batteries.models import TypeOutlook
from fleet.batteries.views.common import above
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.web.guards import guard

#: Decimals of a number, by the size below which they are shown.
_DECIMALS: Final = ((0.01, 5), (0.1, 4), (10.0, 3))


class TypeForm(forms.Form):
    """Which type's numbers are shown, of those that the last night looked at."""

    type = forms.ModelChoiceField(
        label="Type",
        queryset=DeviceType.objects.filter(battery_outlook__isnull=False).select_related("maker"),
        empty_label="Choose a type",
        required=False,
    )


@guard(May.SEE_FLEET)
@require_safe
def how(request: HttpRequest) -> HttpResponse:
    """The method, what goes in, what it cannot do, and the numbers of the type that was chosen."""
    form = TypeForm(request.GET)
    chosen = form.cleaned_data.get("type") if form.is_valid() else None
    outlook = TypeOutlook.objects.filter(device_type=chosen).first() if chosen else None
    context = {
        "above": above(),
        "form": form,
        "chosen": chosen,
        "outlook": outlook,
        "prior": wording.prior(outlook.prior_source) if outlook else "",
        "numbers": _rows(outlook.numbers) if outlook else [],
    }
    return render(request, "batteries/how.html", context)


def _rows(numbers: list[dict[str, object]]) -> list[dict[str, object]]:
    return [{**row, **{name: _figure(row.get(name)) for name in ("value", "low", "high")}} for row in numbers]


def _figure(value: object) -> str:
    """A number with the decimals its size needs; a dash where there is none."""
    if not isinstance(value, int | float):
        return "—"
    decimals = next((places for size, places in _DECIMALS if abs(value) < size), 2)
    return f"{value:.{decimals}f}".replace("-", "\u2212")
