"""What is done about drivers: several ticked on the list, or one on its own page."""

from collections.abc import Callable
from typing import Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.notices import actions, queries
from fleet.notices.forms import AnswerForm, WhyForm
from fleet.notices.models import Affected, Notice
from fleet.notices.tables import stands
from fleet.notices.views import one
from fleet.notices.views.common import REFUSED, above, asked_for, may_answer, notice_of
from fleet.people.queries import acting
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard


@guard(May.WORK_ON_BENCH)
@require_POST
def act(request: HttpRequest, number: str) -> HttpResponse:
    """Answer the ticked drivers, raise their orders, or tag them: all or none of them."""
    row = notice_of(number)
    return _ACTS.get(request.POST.get("act", ""), _answer)(request, row, asked_for(request, row))


def _answer(request: HttpRequest, row: Notice, lines: list[Affected]) -> HttpResponse:
    form = AnswerForm(request.POST)
    if form.is_valid():
        try:
            many = actions.answer(lines, form.answer(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{_drivers(many)} answered.")
            return redirect("notices:one", row.number)
    return one.page(request, row, answer=form, status=REFUSED)


def _orders(request: HttpRequest, row: Notice, lines: list[Affected]) -> HttpResponse:
    try:
        raised = actions.raise_orders(lines, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        words = f"Orders for {_drivers(len(raised))} are raised." if raised else "No order was missing for the ticked."
        messages.success(request, words)
    return redirect("notices:one", row.number)


def _tag(request: HttpRequest, row: Notice, lines: list[Affected]) -> HttpResponse:
    demand(request, May.KEEP_NOTICES)
    form = WhyForm(request.POST, prefix="tag")
    if form.is_valid() and not lines:
        form.add_error(None, "Tick the drivers to be tagged out of use.")
    if form.is_valid():
        try:
            tagged = actions.tag(lines, form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{_drivers(len(tagged))} tagged out of use. Their wards see it on their list.")
            return redirect("notices:one", row.number)
    return one.page(request, row, why=form, status=REFUSED)


_ACTS: Final[dict[str, Callable[[HttpRequest, Notice, list[Affected]], HttpResponse]]] = {
    "answer": _answer,
    "orders": _orders,
    "tag": _tag,
}


def _drivers(many: int) -> str:
    return "1 driver" if many == 1 else f"{many} drivers"


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def driver(request: HttpRequest, number: str, asset: str) -> HttpResponse:
    """One driver of a notice: what to do, what was done, and answering it. `next` leads back to where one came from."""
    row = notice_of(number)
    line = fetch(queries.lines(), request, notice=row, device__asset_number=asset)
    form, why = AnswerForm(), WhyForm(prefix="back")
    if request.method == "POST":
        demand(request, May.WORK_ON_BENCH)
        taking_back = request.POST.get("act") == "back"
        form = form if taking_back else AnswerForm(request.POST)
        why = WhyForm(request.POST, prefix="back") if taking_back else why
        if _taken_back(request, line, why) if taking_back else _answered(request, line, form):
            return redirect(_next(request) or reverse("notices:driver", args=[number, asset]))
    shown = {
        **one.told(row),
        "line": line,
        "device": line.device,
        "stands": stands(line),
        "form": form,
        "why": why,
        "next": _next(request),
        "may_answer": may_answer(request) and row.state == Notice.State.OPEN,
        "above": above(row),
    }
    return render(request, "notices/driver.html", shown, status=REFUSED if form.errors or why.errors else 200)


def _answered(request: HttpRequest, line: Affected, form: AnswerForm) -> bool:
    if not form.is_valid():
        return False
    try:
        actions.answer([line], form.answer(), by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(request, f"{line.notice} is answered for {line.device}.")
    return True


def _taken_back(request: HttpRequest, line: Affected, form: WhyForm) -> bool:
    if not form.is_valid():
        return False
    try:
        actions.take_back(line, form.cleaned_data["why"], by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(request, f"The answer for {line.device} is taken back; it is open again.")
    return True


def _next(request: HttpRequest) -> str:
    """The page of ours to go back to; empty for anything else."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    return asked if asked.startswith("/") and url_has_allowed_host_and_scheme(asked, allowed_hosts=None) else ""
