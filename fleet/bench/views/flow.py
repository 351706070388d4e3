"""Flow and occlusion tests of an order, and the limits of delivery that they are judged by."""

import zlib
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.bench import queries
from fleet.bench.actions import flow as actions
from fleet.bench.flow_forms import DeliveryLimitForm, DropLimitForm, FlowForm, OcclusionForm, VoidForm
from fleet.bench.flow_plot import Edge, draw_flow, draw_trumpet
from fleet.bench.models import DeliveryLimit, FlowTest, OcclusionTest, Order
from fleet.bench.queries.flow import (
    Judged,
    delivery_limits,
    failed_delivery,
    flow_tests,
    occlusion_tests,
    verdict_words,
)
from fleet.core.errors import BenchwardError
from fleet.core.flow import Period
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.stores.queries import usable_instruments
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

REFUSED = 422
#: The start-up is drawn on its own where the log goes on beyond it: two hours.
_START_UP = 240


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def flow(request: HttpRequest, number: str) -> HttpResponse:
    """The flow and occlusion tests of an order, and a form for each; a sent one is a flow test."""
    row = fetch(queries.orders(), request, number=number)
    if request.method != "POST":
        return _tests_page(request, row)
    demand(request, May.WORK_ON_BENCH)
    form = FlowForm(request.POST, request.FILES, prefix="flow", instruments=_instruments(request))
    made: list[FlowTest] = []
    if _done(form, lambda: made.append(actions.record_flow_test(row, form.weighed(), by=acting(request)))):
        messages.success(request, f"The flow test is on record: {made[0].get_verdict_display().lower()}.")
        return redirect("bench:flow_test", made[0].pk)
    form.keep_log()
    return _tests_page(request, row, flow=form)


@guard(May.WORK_ON_BENCH)
@require_POST
def occlusion(request: HttpRequest, number: str) -> HttpResponse:
    """Record an occlusion test."""
    row = fetch(queries.orders(), request, number=number)
    form = OcclusionForm(request.POST, prefix="occlusion", instruments=_instruments(request))
    made: list[OcclusionTest] = []
    if _done(form, lambda: made.append(actions.record_occlusion_test(row, form.occluded(), by=acting(request)))):
        messages.success(request, f"The occlusion test is on record: {made[0].get_verdict_display().lower()}.")
        return redirect("bench:flow", row.number)
    return _tests_page(request, row, occlusion=form)


@guard(May.WORK_ON_BENCH)
@require_POST
def void_occlusion(request: HttpRequest, pk: int) -> HttpResponse:
    """Let an occlusion test count no longer."""
    test = get_object_or_404(OcclusionTest.objects.select_related("order"), pk=pk)
    row = fetch(queries.orders(), request, number=test.order.number)
    form = VoidForm(request.POST, prefix=f"void-{pk}")
    if _done(form, lambda: actions.void_occlusion_test(test, form.cleaned_data["why"], by=acting(request))):
        messages.success(request, "The occlusion test is void. It stays on record.")
        return redirect("bench:flow", row.number)
    return _tests_page(request, row, void=(pk, form))


def _instruments(request: HttpRequest) -> Any:
    return usable_instruments(person_of(request), clock.today())


def _done(form: BaseForm, act: Callable[[], object]) -> bool:
    """Whether a valid form was acted on; else what is wrong stands in it."""
    if not form.is_valid():
        return False
    try:
        act()
    except BenchwardError as error:
        error_field = getattr(error, "field", "")
        # What is wrong in a log is said beside where it came from.
        if error_field == "log":
            form.add_error("pasted", str(error))
        else:
            put_beside(form, error)
        return False
    return True


def _tests_page(
    request: HttpRequest,
    row: Order,
    *,
    flow: FlowForm | None = None,
    occlusion: OcclusionForm | None = None,
    void: tuple[int, VoidForm] | None = None,
) -> HttpResponse:
    page = queries.order_page(queries.orders().get(pk=row.pk))
    may_work = person_of(request).may(May.WORK_ON_BENCH) and not page.refusal
    instruments = _instruments(request) if may_work else None
    voided = dict([void]) if void else {}
    context = {
        "page": page,
        "order": page.order,
        "device": page.device,
        "tests": [
            (test, verdict_words(test.verdict, test.result["judged"])) for test in flow_tests().filter(order=row)
        ],
        "occlusions": [
            (test, voided.get(test.pk) or VoidForm(prefix=f"void-{test.pk}"))
            for test in occlusion_tests().filter(order=row)
        ],
        "failed": failed_delivery(row),
        "limits": delivery_limits().filter(device_type=page.device.device_type),
        "may_work": may_work,
        "flow_form": flow or (FlowForm(prefix="flow", instruments=instruments) if may_work else None),
        "occlusion_form": occlusion
        or (OcclusionForm(prefix="occlusion", instruments=instruments) if may_work else None),
    }
    refused = flow or occlusion or void
    return render(request, "bench/flow.html", context, status=REFUSED if refused else 200)


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def flow_test(request: HttpRequest, pk: int) -> HttpResponse:
    """One flow test with its figures and numbers; it is voided here."""
    test = get_object_or_404(flow_tests(), pk=pk)
    row = fetch(queries.orders(), request, number=test.order.number)
    form = VoidForm(request.POST or None)
    if request.method == "POST":
        demand(request, May.WORK_ON_BENCH)
        if _done(form, lambda: actions.void_flow_test(test, form.cleaned_data["why"], by=acting(request))):
            messages.success(request, "The flow test is void. It stays on record.")
            return redirect("bench:flow_test", pk)
    page = queries.order_page(row)
    context = {
        **_drawn(test),
        "test": test,
        "order": row,
        "device": row.device,
        "form": form,
        "may_work": person_of(request).may(May.WORK_ON_BENCH) and not page.refusal,
    }
    return render(request, "bench/flow_test.html", context, status=REFUSED if form.errors else 200)


def _drawn(test: FlowTest) -> dict[str, Any]:
    """The numbers of a test as its page shows them."""
    result = test.result
    lines = [Judged(**line) for line in result["judged"]]
    by_quantity = {line.quantity: line for line in lines}
    windows = [(window, by_quantity.get(f"w{window['minutes']}")) for window in result["windows"]]
    edges = [
        Edge(
            window["minutes"],
            window["lowest"],
            window["highest"],
            line.low if line else None,
            line.high if line else None,
        )
        for window, line in windows
    ]
    rate, samples = float(test.rate), result["flow"]
    figures = [("Flow", draw_flow("whole", samples, rate, (result["start"], result["stop"])))]
    if len(samples) > _START_UP:
        span = (min(result["start"], _START_UP), min(result["stop"], _START_UP))
        figures.insert(0, ("Start-up, the first two hours", draw_flow("start", samples[:_START_UP], rate, span)))
    return {
        "result": result,
        "verdict": verdict_words(test.verdict, lines),
        "mean_line": by_quantity.get(DeliveryLimit.Quantity.MEAN_ERROR.value),
        "windows": windows,
        "unverified": any(not line.verified for line in lines),
        "figures": figures,
        "trumpet": draw_trumpet("test", edges, result["mean_error"]),
        "period": Period.of(test.period).words,
        "analysed": (result["stop"] - result["start"]) / 2,
        "more_odd": result["odd"] - len(result["findings"]),
    }


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def flow_log(request: HttpRequest, pk: int) -> HttpResponse:
    """The balance's log as it came."""
    test = get_object_or_404(FlowTest.objects.select_related("order"), pk=pk)
    fetch(queries.orders(), request, number=test.order.number)
    answer = HttpResponse(zlib.decompress(test.log), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="flow-test-{test.order.number}-{test.pk}.csv"'
    return answer


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def limits(request: HttpRequest) -> HttpResponse:
    """Which limits of delivery hold, from which source, and who checked them."""
    dropped = DeliveryLimit.objects.filter(dropped_at__isnull=False).select_related("device_type__maker")
    context = {"limits": delivery_limits(), "dropped": dropped.order_by("-dropped_at")}
    return render(request, "bench/flow_limits.html", context)


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def limit_new(request: HttpRequest) -> HttpResponse:
    """State a limit."""
    form = DeliveryLimitForm(request.POST or None)

    def act() -> None:
        actions.add_delivery_limit(form.limit(), by=acting(request))

    if _done(form, act):
        messages.success(
            request,
            "The limit holds from now on, not verified until somebody else checks it. Tests before keep their verdict.",
        )
        return redirect("bench:delivery_limits")
    return render(request, "bench/flow_limit_new.html", {"form": form, "above": _above()}, status=_status(form))


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def limit(request: HttpRequest, pk: int) -> HttpResponse:
    """Verify a limit that holds, or drop it."""
    row = get_object_or_404(delivery_limits(), pk=pk)
    form = DropLimitForm(request.POST if "drop" in request.POST else None)
    if request.method == "POST" and "verify" in request.POST:
        try:
            actions.verify_delivery_limit(row, by=acting(request))
        except BenchwardError as error:
            messages.error(request, str(error))
            return redirect("bench:delivery_limit", pk)
        messages.success(request, "The limit is verified by you, today.")
        return redirect("bench:delivery_limits")
    if _done(form, lambda: actions.drop_delivery_limit(row, form.cleaned_data["why"], by=acting(request))):
        messages.success(request, "The limit holds no longer. It stays on record.")
        return redirect("bench:delivery_limits")
    return render(request, "bench/flow_limit.html", {"row": row, "form": form, "above": _above()}, status=_status(form))


def _above() -> list[tuple[str, str]]:
    return [("Bench queue", reverse("bench:queue")), ("Limits of delivery", reverse("bench:delivery_limits"))]


def _status(form: BaseForm) -> int:
    return REFUSED if form.errors else 200
