"""One due: where it stands, putting it off, recording a visit in vain, an interval of its own."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from fleet.core.due import monday_of
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.schedules import actions, queries
from fleet.schedules.forms import AttemptForm, DeferForm, IntervalForm
from fleet.schedules.models import Due, DueAttempt
from fleet.schedules.tables import standing
from fleet.schedules.wording import every_words, first_words, planned_words, week_cut
from fleet.web import clock, phrases
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

Forms = dict[str, forms.Form]


@guard(May.SEE_FLEET)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """Where a due stands, what was tried, and what may be done about it."""
    return _page(request, _due(request, pk), {})


@guard(May.SEE_FLEET)
@require_POST
def defer(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the due off."""
    demand(request, May.DEFER_DUE)

    def act(due: Due, typed: dict[str, Any]) -> str:
        row = actions.defer(due, typed["until"], why=typed["why"], by=acting(request))
        return f"{row} is put off until {phrases.day(row.due_on)}."

    return _post(request, pk, "defer", DeferForm(request.POST, prefix="defer"), act)


@guard(May.SEE_FLEET)
@require_POST
def attempt(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a visit in vain."""
    demand(request, May.WORK_ON_BENCH)

    def act(due: Due, typed: dict[str, Any]) -> str:
        reason, by = DueAttempt.Reason(typed["reason"]), acting(request)
        if reason is DueAttempt.Reason.NOT_FOUND:
            place = typed["place"] or due.device.place
            actions.look_in_vain(due.device, place, note=typed["note"], at=typed["at"], due=due, by=by)
        else:
            actions.attempt(due, reason, note=typed["note"], at=typed["at"], by=by)
        return f"The visit is recorded: {reason.label.lower()}."

    return _post(request, pk, "attempt", AttemptForm(request.POST, prefix="attempt", person=person_of(request)), act)


@guard(May.SEE_FLEET)
@require_POST
def interval(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the driver an interval of its own."""
    demand(request, May.EDIT_REGISTRY)

    def act(due: Due, typed: dict[str, Any]) -> str:
        row = actions.set_own_interval(
            due, typed["months"], why=typed["why"], review_on=typed["review_on"], by=acting(request)
        )
        return f"{row} is now due on {phrases.day(row.due_on)}."

    return _post(request, pk, "interval", IntervalForm(request.POST, prefix="interval"), act)


def _post(
    request: HttpRequest, pk: int, name: str, form: forms.Form, act: Callable[[Due, dict[str, Any]], str]
) -> HttpResponse:
    due = _due(request, pk)
    if form.is_valid():
        try:
            words = act(due, form.cleaned_data)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect("schedules:one", pk=pk)
    return _page(request, due, {name: form})


def _due(request: HttpRequest, pk: int) -> Due:
    rows = Due.objects.select_related(
        "plan", "device__device_type__maker", "device__home__site", "device__use", "deferred_by"
    )
    return fetch(rows, request, pk=pk)


def _page(request: HttpRequest, due: Due, sent: Forms) -> HttpResponse:
    context = {
        "due": due,
        "above": [("Late", reverse("schedules:overdue"))],
        "standing": standing(due),
        "every": every_words(due.every),
        "monday": monday_of(due.planned_for) if due.planned_for else None,
        "cut": week_cut(due),
        "planned": planned_words(queries.work_calendar().planned(due)),
        "first": first_words(queries.reaches(due), clock.today()),
        "attempts": queries.attempts_of(due),
        "done": queries.done_of(due.device).filter(plan=due.plan),
        "forms": _forms(request, due, sent),
        "sent": next(iter(sent), ""),
    }
    return render(request, "schedules/one.html", context)


def _forms(request: HttpRequest, due: Due, sent: Forms) -> Forms:
    """The forms the person may send about a due that counts."""
    own = {"months": due.own_every_months, "review_on": due.own_review_on}
    offered = {
        "attempt": (May.WORK_ON_BENCH, AttemptForm(prefix="attempt", person=person_of(request))),
        "defer": (May.DEFER_DUE, DeferForm(prefix="defer")),
        "interval": (May.EDIT_REGISTRY, IntervalForm(prefix="interval", initial=own)),
    }
    return {
        name: sent.get(name, form)
        for name, (duty, form) in offered.items()
        if not due.suspended and request.user.has_perm(f"fleet.{duty.value}")
    }
