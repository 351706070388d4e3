"""Risk scores of the types, the classes they add up, and the rules of the house."""

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.core.risk import INCLUDED_FROM, RULE_VERSION, Scale
from fleet.people.queries import acting, person_of
from fleet.registry.queries import types
from fleet.schedules import actions, queries
from fleet.schedules.forms import HouseRuleForm, RiskClassForm, RiskForm
from fleet.schedules.models import RiskClass
from fleet.schedules.views.tabs import above, tabs
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard

_READ_OR_SEND = ["GET", "HEAD", "POST"]


@guard(May.SEE_FLEET)
@require_safe
def risk(request: HttpRequest) -> HttpResponse:
    """Every type with its score, its terms, the variant and the rule."""
    context = {"rows": queries.scored_types(person_of(request)), "from": INCLUDED_FROM, "tabs": tabs("risk")}
    return render(request, "schedules/risk.html", context)


@guard(May.SEE_FLEET)
@require_http_methods(_READ_OR_SEND)
def type_risk(request: HttpRequest, pk: int) -> HttpResponse:
    """One type: the score that stands, those before, and a new one."""
    row = get_object_or_404(types(), pk=pk)
    standing = queries.risk_of(row)
    form = RiskForm(request.POST or None, standing=standing)

    def act() -> str:
        scored = actions.score_type(row, form.chosen(), note=form.cleaned_data["note"], by=acting(request))
        return f"{row} scores {scored.score}, by {scored.get_variant_display()}."

    if answer := _sent(request, form, act, reverse("schedules:type_risk", args=[pk])):
        return answer
    context = {
        "type": row,
        "risk": standing,
        "high": queries.high_risk(row),
        "before": row.risks.exclude(replaced_at=None),
        "form": form,
        "from": INCLUDED_FROM,
        "has_classes": queries.risk_classes().exists(),
        "above": above("risk"),
    }
    return render(request, "schedules/type_risk.html", context)


@guard(May.SEE_FLEET)
@require_safe
def risk_classes(request: HttpRequest) -> HttpResponse:
    """The classes of each scale with their points and sources."""
    scales = [(scale.label, queries.risk_classes(scale)) for scale in Scale]
    context = {"scales": scales, "rule": RULE_VERSION, "from": INCLUDED_FROM, "above": above("risk")}
    return render(request, "schedules/risk_classes.html", context)


@guard(May.SEE_FLEET)
@require_http_methods(_READ_OR_SEND)
def risk_class(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct the points of a class, or say that they were checked."""
    demand(request, May.SET_RISK_LIMITS)
    row = get_object_or_404(RiskClass, pk=pk)
    held = {"points": row.points, "source": row.source, "checked": not row.from_memory}
    form = RiskClassForm(request.POST or None, initial=held)

    def act() -> str:
        actions.correct_risk_class(row, **form.cleaned_data, by=acting(request))
        return f"“{row}” is saved. Scores reckoned before keep their points; score a type anew to take these."

    if answer := _sent(request, form, act, reverse("schedules:risk_classes")):
        return answer
    way = [*above("risk"), ("Classes", reverse("schedules:risk_classes"))]
    return render(request, "schedules/risk_class.html", {"row": row, "form": form, "above": way})


@guard(May.SEE_FLEET)
@require_http_methods(_READ_OR_SEND)
def rules(request: HttpRequest) -> HttpResponse:
    """The rules of the house."""
    rule = queries.house_rule()
    form = HouseRuleForm(request.POST or None, initial={name: getattr(rule, name) for name in actions.RULE_FACTS})

    def act() -> str:
        typed = {name: form.cleaned_data[name] for name in actions.RULE_FACTS}
        actions.set_house_rule(typed, why=form.cleaned_data["why"], by=acting(request))
        return "The rules are saved. They hold from now on."

    if answer := _sent(request, form, act, reverse("schedules:rules")):
        return answer
    return render(request, "schedules/rules.html", {"rule": rule, "form": form, "tabs": tabs("rules")})


def _sent(request: HttpRequest, form: forms.Form, act: Callable[[], str], goes_to: str) -> HttpResponse | None:
    """Do what was sent, by whoever may set risk limits; None where there is nothing to do or it was refused."""
    if request.method != "POST":
        return None
    demand(request, May.SET_RISK_LIMITS)
    if form.is_valid():
        try:
            words = act()
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect(goes_to)
    return None
