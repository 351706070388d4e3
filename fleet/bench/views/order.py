"""One order, worked step by step; its minutes, parts and pauses; its end; its printed sheet."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from fleet.audit.actors import Actor
from fleet.bench import actions, queries
from fleet.bench.act_forms import (
    CancelForm,
    ExpectForm,
    HoldBackForm,
    ReadOffForm,
    ResumeForm,
    TakeForm,
    WaitForm,
    WidenForm,
)
from fleet.bench.forms import StepForm
from fleet.bench.models import Order, Reading, ReadingFile, Step
from fleet.bench.queries.failing import failing_steps
from fleet.bench.queries.judging import Judges, limits_judging
from fleet.bench.views import sending
from fleet.bench.views.acts import SPENDING, Act
from fleet.core.errors import BadValueError, BenchwardError, ConflictError
from fleet.core.lifecycle import WaitReason
from fleet.core.permissions import May
from fleet.people import kept
from fleet.people.queries import acting, person_of
from fleet.registry.models import Place
from fleet.tags.actions import expect_back
from fleet.tags.models import Tag
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard
from fleet.web.uploads import download

CONFLICT = 409
REFUSED = 422


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def order(request: HttpRequest, number: str) -> HttpResponse:
    """The order with its current step large; `?step=` shows another."""
    return _at_step(request, number)


@guard(May.WORK_ON_BENCH)
@require_safe
def work(request: HttpRequest, number: str) -> HttpResponse:
    """One step at a time, filling the screen."""
    return _at_step(request, number, full=True)


def _at_step(request: HttpRequest, number: str, *, full: bool = False) -> HttpResponse:
    row = fetch(queries.orders(), request, number=number)
    asked = request.GET.get("step", "")
    return _show(request, row, position=int(asked) if asked.isdecimal() else None, full=full)


@guard(May.WORK_ON_BENCH)
def answer(request: HttpRequest, number: str, position: int) -> HttpResponse:
    """Save the answer at one step and go on to the next that has none; an answer that a screen kept is told as data."""
    row = fetch(queries.orders(), request, number=number)
    step = get_object_or_404(Step, version=row.procedure_version_id, position=position)
    if request.method != "POST":  # led back here by the sign-in page
        return redirect(f"{_page(row, full='full' in request.GET)}?step={position}")
    return kept.as_asked(request, _answered(request, row, step))


def _answered(request: HttpRequest, row: Order, step: Step) -> HttpResponse:
    position, full = step.position, "full" in request.GET
    if kept.is_anothers(request):
        words, status = sending.ANOTHERS_WORDS, kept.ANOTHERS
        return _show(request, row, position=position, full=full, conflict=words, status=status)
    form = _step_form(request, row, step, failing_steps(row), request.POST, request.FILES)
    if form.is_valid():
        try:
            sent = sending.sent(request, form.cleaned_data["revision"])
            reading = actions.answer_once(row, step, form.answer(), sent, by=acting(request))
        except ConflictError as error:
            row = _again(row)
            return _show(request, row, position=position, form=form, full=full, conflict=str(error), status=CONFLICT)
        except BenchwardError as error:
            put_beside(form, error)
        else:
            for each in (reading, *queries.computed_with(reading)):
                _warn_of_failure(request, each)
            return redirect(_after(row, position, full=full))
    return _show(request, row, position=position, form=form, full=full, status=REFUSED)


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def attached(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """A file attached at a step of an order, by its content's kind and under a name of our own."""
    row = fetch(queries.orders(), request, number=number)
    file = get_object_or_404(ReadingFile.objects.select_related("reading__step"), pk=pk, reading__order=row)
    return download(file, f"{row.number}-step-{file.reading.step.position}")


def _warn_of_failure(request: HttpRequest, reading: Reading) -> None:
    """Say at the next step that this one failed: a slip of the hand, -45 for -4.5, is else seen too late."""
    if reading.verdict in {Reading.Verdict.FAIL, Reading.Verdict.NOT_PROVEN}:
        limits = limits_judging(reading)
        told = f"{queries.in_words(reading)}; its limits are {limits.words}" if limits else queries.in_words(reading)
        messages.warning(request, f"Step {reading.step.position}: {told}. If that was a slip, answer the step again.")


def _again(row: Order) -> Order:
    return queries.orders().get(pk=row.pk)


def _page(row: Order, *, full: bool) -> str:
    return reverse("bench:work" if full else "bench:order", args=[row.number])


def _after(row: Order, position: int, *, full: bool = False) -> str:
    """The next step without an answer, from here on; when all have one, the end."""
    lines = [line for line in queries.order_page(row).lines if line.reading is None]
    ahead = next((line for line in lines if line.step.position > position), lines[0] if lines else None)
    address = _page(row, full=full)
    return f"{address}?step={ahead.step.position}" if ahead else address


def _step_form(  # noqa: PLR0913, PLR0917 - what was sent comes in two parts
    request: HttpRequest, row: Order, step: Step, failing: set[int], data: Any = None, files: Any = None
) -> StepForm:
    """The form of a step; where something is measured, with the instrument that the person named last."""
    failed = step.pk in failing
    if not queries.may_name(step):
        return StepForm(step, data, files, judges=Judges(row.device), failed=failed)
    person = person_of(request)
    offered = queries.instruments_for(step, person)
    used = sending.scanned(request, offered) or queries.last_used(row, step, person)
    before = queries.last_context(row, step)
    judges = Judges(row.device)
    return StepForm(step, data, files, judges=judges, before=before, instruments=offered, used=used, failed=failed)


def _show(  # noqa: PLR0913 - what a refused form brings back
    request: HttpRequest,
    row: Order,
    *,
    position: int | None = None,
    form: StepForm | None = None,
    conflict: str = "",
    bound: dict[str, Form] | None = None,
    full: bool = False,
    status: int = 200,
) -> HttpResponse:
    page = queries.order_page(row)
    line, failing = page.line(position), failing_steps(row)
    may_work = person_of(request).may(May.WORK_ON_BENCH)
    shown = {
        "page": page,
        "order": row,
        "device": row.device,
        "line": line,
        "form": form or (_step_form(request, row, line.step, failing) if line else None),
        "conflict": conflict,
        "may_work": may_work and page.is_open,
        "currency": settings.CURRENCY,
        "my_clock": any(running.person_id == request.user.pk for running, _ in page.clocks),
        "acts": {**_forms(request), **(bound or {})} if may_work else {},
    }
    if full and shown["may_work"]:
        shown["around"] = _around(page, line)
        ahead = [each for each in page.lines if each != line]
        shown["ahead"] = [(each, _step_form(request, row, each.step, failing)) for each in ahead]
    return render(request, "bench/work.html" if full else "bench/order.html", shown, status=status)


def _around(page: queries.OrderPage, line: queries.Line | None) -> dict[str, Step | None]:
    """The steps before and after the one that is shown."""
    steps = [each.step for each in page.lines]
    at = steps.index(line.step) if line else len(steps)
    return {"before": steps[at - 1] if at else None, "after": steps[at + 1] if at + 1 < len(steps) else None}


def _take(row: Order, _typed: dict[str, Any], by: Actor) -> Order:
    return actions.take(row, by=by)


def _expect(row: Order, typed: dict[str, Any], by: Actor) -> Tag:
    if row.tag is None:
        raise BadValueError("This order has no tag, so no ward waits for its driver.")
    return expect_back(row.tag, typed["expected_back"], by=by)


def _wait(row: Order, typed: dict[str, Any], by: Actor) -> Order:
    reason, day = WaitReason(typed["wait_reason"]), typed["expected_back"]
    provider = typed["provider"]
    return actions.set_aside(row, reason, by=by, provider=provider, why=typed["why"], expected_back=day)


ACTS = {
    "take": Act(TakeForm, _take, "The order is yours."),
    "wait": Act(
        WaitForm,
        _wait,
        "The order is set aside. Its driver waits.",
    ),
    "resume": Act(ResumeForm, lambda row, _typed, by: actions.resume(row, by=by), "The order is taken up again."),
    "widen": Act(
        WidenForm, lambda row, typed, by: actions.widen(row, typed["why"], by=by), "The whole procedure is asked for."
    ),
    "hold-back": Act(
        HoldBackForm,
        lambda row, typed, by: actions.hold_back(row, by=by, **typed),
        "The driver is kept out of use; its order stays open.",
        needs_places=True,
    ),
    "expect": Act(ExpectForm, _expect, "The ward sees the day on its list."),
    "cancel": Act(
        CancelForm, lambda row, typed, by: actions.cancel(row, typed["why"], by=by), "The order is cancelled."
    ),
    **SPENDING,
    "read-off": Act(
        ReadOffForm,
        lambda row, typed, by: actions.read_off(row, by=by, **typed),
        "What the driver shows is on record.",
    ),
}


def _form(request: HttpRequest, verb: str, data: Any = None) -> Form:
    if not ACTS[verb].needs_places:
        return ACTS[verb].form(data, prefix=verb)
    places = queries.places(person_of(request), Place.Kind.STORE, Place.Kind.BENCH)
    return ACTS[verb].form(data, prefix=verb, places=places)


def _forms(request: HttpRequest) -> dict[str, Form]:
    return {verb.replace("-", "_"): _form(request, verb) for verb in ACTS}


@guard(May.WORK_ON_BENCH)
@require_POST
def act(request: HttpRequest, number: str, verb: str) -> HttpResponse:
    """Do one of `ACTS`; a refusal stands beside what was typed."""
    if verb not in ACTS:
        raise Http404(verb)
    row = fetch(queries.orders(), request, number=number)
    form = _form(request, verb, request.POST)
    if form.is_valid():
        try:
            done = ACTS[verb].do(row, form.cleaned_data, acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, done if isinstance(done, str) else ACTS[verb].says)
            return redirect("bench:order", row.number)
    return _show(request, _again(row), bound={verb.replace("-", "_"): form}, status=REFUSED)


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The order as one sheet to print."""
    row = fetch(queries.orders(), request, number=number)
    return render(request, "bench/sheet.html", {"page": queries.order_page(row), "order": row, "device": row.device})
