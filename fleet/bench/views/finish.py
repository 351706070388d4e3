"""The end of an order: what came of it, where the driver goes, what will happen then."""

from dataclasses import replace
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from fleet.accessories.forms import CountForm
from fleet.accessories.queries import missing_of
from fleet.bench import actions, queries
from fleet.bench.forms import FinishForm
from fleet.bench.models import Order, OrderKind
from fleet.bench.queries.retiring import retirement_of
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.orders import Outcome
from fleet.core.permissions import May
from fleet.people.proof import prove
from fleet.people.queries import acting, person_of
from fleet.registry.models import Place
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

CONFLICT = 409
REFUSED = 422


@guard(May.WORK_ON_BENCH)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """Finish an order. What stands against it is said before; a refusal keeps all that was typed."""
    row = fetch(queries.orders(), request, number=number)
    page = queries.order_page(row)
    form, count = _form(request, page), CountForm(request.POST or None, device=page.device, needed=False)
    if not page.is_open:
        return _closed(request, row, form)
    if request.method == "POST" and form.is_valid() and count.is_valid() and (done := _done(request, row, form, count)):
        messages.success(request, _says(done))
        return _onward(request, done)
    status = REFUSED if request.method == "POST" else 200
    return render(request, "bench/finish.html", _shown(request, row, form) | {"count": count}, status=status)


def _onward(request: HttpRequest, done: Order) -> HttpResponse:
    """To the queue; after the check for a loan to the lending, after a retirement to its record."""
    if done.kind == OrderKind.LOAN_OUT and done.returned_to and person_of(request).may(May.HAND_OVER):
        return redirect(f"{reverse('loans:lend')}?{urlencode({'code': done.device.asset_number})}")
    retired = retirement_of(done.device) if done.outcome == Outcome.RETIRED else None
    return redirect("bench:retirement", retired.pk) if retired else redirect("bench:queue")


def _closed(request: HttpRequest, row: Order, form: FinishForm) -> HttpResponse:
    """Somebody else closed it meanwhile: what stands on record beside what was typed, which is not saved."""
    if request.method != "POST":
        return redirect("bench:order", row.number)
    form.is_valid()
    both = [
        {"name": _named(form, name), "saved": _on_record(row, name), "typed": _typed(form, name)}
        for name in (
            "outcome",
            "found",
            "found_words",
            "cause_kind",
            "cause",
            "action_kind",
            "action_taken",
            "returned_to",
        )
    ]
    return render(request, "bench/finished.html", {"order": row, "both": both}, status=CONFLICT)


def _named(form: FinishForm, name: str) -> str:
    return str(form.fields[name].label)


def _on_record(row: Order, name: str) -> str:
    shown = getattr(row, f"get_{name}_display", None)
    return str(shown() if shown else getattr(row, name) or "")


def _typed(form: FinishForm, name: str) -> str:
    value = form.cleaned_data.get(name, "")
    choices = dict(getattr(form.fields[name], "choices", ()) if isinstance(value, str) else ())
    return str(choices.get(value, value) if value else "")


def _shown(request: HttpRequest, row: Order, form: FinishForm) -> dict[str, object]:
    fresh, person = queries.orders().get(pk=row.pk), person_of(request)
    return {
        "page": queries.order_page(fresh),
        "order": fresh,
        "device": fresh.device,
        "form": form,
        "signs": queries.meaning_for(fresh, Outcome.REPAIRED, person.pk).label,
        "signs_end": queries.meaning_for(fresh, Outcome.RETIRED, person.pk).label,
    }


def _form(request: HttpRequest, page: queries.OrderPage) -> FinishForm:
    person = person_of(request)
    form = FinishForm(
        request.POST if request.method == "POST" else None,
        places=queries.places(person, Place.Kind.WARD, Place.Kind.STORE, Place.Kind.BENCH),
        may_retire=person.may(May.RETIRE_DEVICE),
        has_others=bool(page.others),
        asks=_asks(page),
        is_repair=page.order.kind == OrderKind.CORRECTIVE,
        initial={"returned_to": page.device.home_id},
    )
    form.name_outcomes(page.order.kind)
    return form


def _asks(page: queries.OrderPage) -> list[str]:
    asked = {"finding": page.order.kind == OrderKind.PLANNED, "caused_by_work": page.work_before is not None}
    return [name for name, is_asked in asked.items() if is_asked]


def _done(request: HttpRequest, row: Order, form: FinishForm, count: CountForm) -> Order | None:
    given = replace(form.completion(), counted=count.counted())
    try:
        prove(request, form.cleaned_data["password"])
        return actions.complete(row, given, revision=form.cleaned_data["revision"], by=acting(request))
    except ConflictError as error:
        form.add_error(None, str(error))
    except BenchwardError as error:
        put_beside(form, error)
    return None


def _says(order: Order) -> str:
    done = f"Order {order} is done: {order.get_outcome_display().lower()}."
    if not order.returned_to:
        return done
    lacking = ", ".join(str(row.accessory).lower() for row in missing_of(order.device))
    missing = f" Missing with it: {lacking}. Tell the ward." if lacking else ""
    return f"{done} {order.device} goes back to {order.returned_to}.{missing}"
