"""Risk limits, what prices make of them, and what is assumed of each chemistry."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.batteries import actions, queries
from fleet.batteries.forms import DropForm, LifeForm, LimitForm, NewLifeForm, NewLimitForm
from fleet.batteries.models import ChemistryLife, RiskLimit
from fleet.batteries.policy_wording import limit_words
from fleet.batteries.views.common import REFUSED, above
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.forms import ActionForm
from fleet.web.forms import put_beside
from fleet.web.guards import guard

SKIPPING = (
    "A test that the maker's instructions or local policy ask for is made, whatever the forecast says.",
    "A forecast cannot see what a test sees: a cell that fails at once, a fuse, a charger that no longer charges.",
)


@guard(May.SEE_FLEET)
@require_safe
def limits(request: HttpRequest) -> HttpResponse:
    """Which limit holds where, who set it and why; what prices make of it; what is assumed of each chemistry."""
    standing = list(queries.limits())
    context = {
        "above": above(),
        "limits": [queries.LimitLine(row) for row in standing],
        "usual": limit_words(queries.ASSUMED_LIMIT),
        "has_widest": any(not row.pool and row.ward_kind == RiskLimit.WardKind.ANY for row in standing),
        "holdings": queries.holdings(person_of(request)),
        "weighed": queries.weighed(),
        "skipping": SKIPPING,
        "skips": any(row.may_skip_tests for row in standing),
        "dropped": queries.dropped_limits(),
        "lives": queries.lives(),
        "unstated": queries.chemistries_without_life(),
        "currency": settings.CURRENCY,
    }
    return render(request, "batteries/limits.html", context)


@guard(May.SET_RISK_LIMITS)
@require_http_methods(["GET", "HEAD", "POST"])
def limit_new(request: HttpRequest) -> HttpResponse:
    """Set a limit for drivers that have none of their own yet."""
    form = NewLimitForm(request.POST or None)

    def act() -> str:
        typed = form.cleaned_data
        row = actions.set_limit(typed["pool"], typed["ward_kind"], form.changes(), by=acting(request))
        return f"The limit is set: {limit_words(row.limit)}. The forecasts follow in a few minutes."

    return _saved(request, form, act) or _limit_page(request, form, "Set a limit", None, DropForm())


@guard(May.SET_RISK_LIMITS)
@require_http_methods(["GET", "HEAD", "POST"])
def limit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a limit that stands, or drop it."""
    row = get_object_or_404(queries.limits(), pk=pk)
    dropping = request.method == "POST" and "drop" in request.POST
    form = LimitForm(None if dropping else request.POST or None, instance=row)
    drop = DropForm(request.POST if dropping else None, prefix="drop")

    def change() -> str:
        changed = actions.change_limit(row, form.changes(), opened=form.cleaned_data["opened"], by=acting(request))
        return f"The limit is {limit_words(changed.limit)} now. The forecasts follow in a few minutes."

    def let_go() -> str:
        actions.drop_limit(row, why=drop.cleaned_data["why"], by=acting(request))
        return "The limit holds no longer. It stays on record; the forecasts follow in a few minutes."

    done = _saved(request, drop, let_go) if dropping else _saved(request, form, change)
    return done or _limit_page(request, form, f"Limit for {_lowered(queries.LimitLine(row).whom)}", row, drop)


def _lowered(words: str) -> str:
    return words[:1].lower() + words[1:]


def _limit_page(
    request: HttpRequest, form: ActionForm, title: str, row: RiskLimit | None, drop: DropForm
) -> HttpResponse:
    context = {
        "above": [*above(), ("Limits", reverse("batteries:limits"))],
        "title": title,
        "form": form,
        "row": row,
        "drop": drop,
        "skipping": SKIPPING,
        "currency": settings.CURRENCY,
    }
    refused = form.errors or drop.errors
    return render(request, "batteries/limits_edit.html", context, status=REFUSED if refused else 200)


@guard(May.SET_RISK_LIMITS)
@require_http_methods(["GET", "HEAD", "POST"])
def life_new(request: HttpRequest) -> HttpResponse:
    """State how long packs of a chemistry last that was not listed yet."""
    form = NewLifeForm(request.POST or None, initial={"chemistry": request.GET.get("chemistry", "")[:20]})
    return _life(request, form, "A chemistry's life", "")


@guard(May.SET_RISK_LIMITS)
@require_http_methods(["GET", "HEAD", "POST"])
def life(request: HttpRequest, pk: int) -> HttpResponse:
    """Change how long packs of a chemistry are taken to last, or say that it was checked."""
    row = get_object_or_404(queries.lives(), pk=pk)
    return _life(request, LifeForm(request.POST or None, instance=row), f"Life of {row.chemistry} packs", row.chemistry)


def _life(request: HttpRequest, form: ActionForm, title: str, chemistry: str) -> HttpResponse:
    def act() -> str:
        typed = form.cleaned_data
        row = actions.set_chemistry_life(
            chemistry or typed["chemistry"], form.changes(), verified=typed["verified"], opened=typed["opened"],
            by=acting(request),
        )  # fmt: skip
        return f"{row} on record. Forecasts that rest on it follow in a few minutes."

    context = {"above": [*above(), ("Limits", reverse("batteries:limits"))], "title": title, "form": form}
    return _saved(request, form, act) or render(
        request, "batteries/limits_life.html", context, status=REFUSED if form.errors else 200
    )


def _saved(request: HttpRequest, form: Any, act: Callable[[], str]) -> HttpResponse | None:
    """Save a valid form and go back to the limits; else None, with what is wrong in the form."""
    if not form.is_valid():
        return None
    try:
        words = act()
    except ConflictError as error:
        form.add_error(None, str(error))
        form.show_what_stands(_now(form))
    except BenchwardError as error:
        put_beside(form, error)
    else:
        messages.success(request, words)
        return redirect("batteries:limits")
    return None


def _now(form: ActionForm) -> RiskLimit | ChemistryLife:
    """The row as it stands, also where somebody else made it meanwhile."""
    if isinstance(form.instance, RiskLimit):
        return RiskLimit.objects.get(pk=form.instance.pk)
    chemistry = form.instance.chemistry or form.cleaned_data["chemistry"]
    return ChemistryLife.objects.filter(chemistry=chemistry).first() or ChemistryLife(chemistry=chemistry)
