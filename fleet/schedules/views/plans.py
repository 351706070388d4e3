"""Plans: the list, a new one, a changed one."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from fleet.core.permissions import May
from fleet.people.queries import acting
from fleet.schedules import actions, queries
from fleet.schedules.forms import PlanForm
from fleet.schedules.models import Plan
from fleet.schedules.tables import PlanTable
from fleet.schedules.views.tabs import tabs
from fleet.web.guards import guard

_OWN = ("device_type", "kind", "name", "every_months", "every_hours", "every_cycles")


@guard(May.SEE_FLEET)
@require_safe
def plans(request: HttpRequest) -> HttpResponse:
    """Every plan, by type."""
    may_edit = request.user.has_perm(f"fleet.{May.EDIT_REGISTRY.value}")
    rows = queries.plans()
    table = PlanTable(rows, may_edit=may_edit, on_their_way=queries.plans_on_their_way())
    RequestConfig(request, paginate=False).configure(table)
    context = {"table": table, "count": rows.count(), "may_edit": may_edit, "tabs": tabs("plans")}
    return render(request, "schedules/plans.html", context)


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def new_plan(request: HttpRequest) -> HttpResponse:
    """Add a plan: each accepted driver of the type gets its due."""

    def act(typed: dict[str, Any]) -> str:
        facts = {name: value for name, value in typed.items() if name not in {*_OWN, "why"}}
        own = {name: typed[name] for name in _OWN}
        row = actions.add_plan(actions.NewPlan(**own, facts=facts), why=typed["why"], by=acting(request))
        if row.pk in queries.plans_on_their_way():
            return f"“{row}” is added; a job opens the dues of its drivers now."
        return f"“{row}” is added; {row.dues.count()} drivers have their due."

    return _edit(request, PlanForm(request.POST or None), "Add a plan", act)


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a plan: its dues are reckoned anew."""
    row = get_object_or_404(Plan.objects.select_related("device_type__maker"), pk=pk)

    form = PlanForm(request.POST or None, instance=row)

    def act(typed: dict[str, Any]) -> str:
        actions.edit_plan(row, form.changes(), why=typed["why"], opened=typed["opened"], by=acting(request))
        if row.pk in queries.plans_on_their_way():
            return f"“{typed['name']}” is changed; a job moves the dues of its drivers now."
        return f"“{typed['name']}” is changed, and its dues with it."

    return _edit(request, form, f"{row}, {row.device_type}", act)


def _edit(request: HttpRequest, form: PlanForm, title: str, act: Callable[[dict[str, Any]], str]) -> HttpResponse:
    if words := form.saved(lambda: act(form.cleaned_data)):
        messages.success(request, words)
        return redirect("schedules:plans")
    context = {"form": form, "title": title, "above": [("Plans", reverse("schedules:plans"))]}
    return render(request, "schedules/plan.html", context)
