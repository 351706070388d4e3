"""Beside an order at work: who else has it open, and what was scanned."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.bench import actions, queries
from fleet.bench.models import Order, Step
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web.guards import fetch, guard


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() else None


@guard(May.WORK_ON_BENCH)
@require_safe
def together(request: HttpRequest, number: str) -> HttpResponse:
    """Who else is at the order and what they did since; a page that is open asks for it every 15 s."""
    row = fetch(queries.orders(), request, number=number)
    actions.look_in(row, _number(request.GET.get("step", "")), by=acting(request))
    person = person_of(request)
    stepwise = reverse("bench:work", args=[row.number])
    full = stepwise in request.headers.get("HX-Current-URL", "")
    shown = {
        "order": row,
        "page_url": stepwise if full else reverse("bench:order", args=[row.number]),
        "others": queries.others_at(row, person),
        "news": queries.news(row, person, _number(request.GET.get("since", "")) or row.revision),
    }
    return render(request, "bench/together.html", shown)


@guard(May.WORK_ON_BENCH)
@require_safe
def scan(request: HttpRequest, number: str) -> HttpResponse:
    """Say what was scanned at a step: as data for the page's script, else on the page itself."""
    row = fetch(queries.orders(), request, number=number)
    step = _step(request, row)
    found = queries.scanned(request.GET.get("code", ""), row, step, person_of(request))
    if "application/json" in request.headers.get("Accept", ""):
        told = {"known": found.known, "words": found.words, "right": found.right}
        return JsonResponse({**told, "instrument": found.instrument.pk if found.instrument else None})
    (messages.success if found.known and found.right is not False else messages.error)(request, found.words)
    asked = {"step": step.position} if step else {}
    used = {"instrument": found.instrument.pk} if found.instrument else {}
    return redirect(f"{reverse('bench:work', args=[row.number])}?{urlencode(asked | used)}")


def _step(request: HttpRequest, row: Order) -> Step | None:
    position = _number(request.GET.get("step", ""))
    return Step.objects.filter(version=row.procedure_version_id, position=position or 0).first()
