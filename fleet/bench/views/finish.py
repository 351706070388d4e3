"""The end of an order: what came of it, where the driver goes, what will happen then."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet.bench import actions, queries
from fleet.bench.forms import FinishForm
from fleet.bench.models import Order, OrderKind
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.models import Place
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422


@guard(May.WORK_ON_BENCH)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """Finish an order. What stands against it is said before; a refusal keeps all that was typed."""
    row = fetch(queries.orders(), request, number=number)
    page = queries.order_page(row)
    if not page.is_open:
        return redirect("bench:order", row.number)
    form = _form(request, page)
    if request.method == "POST" and form.is_valid() and (done := _done(request, row, form)):
        messages.success(request, _says(done))
        return redirect("bench:queue")
    status = REFUSED if request.method == "POST" else 200
    return render(request, "bench/finish.html", _shown(row, form), status=status)


def _shown(row: Order, form: FinishForm) -> dict[str, object]:
    fresh = queries.orders().get(pk=row.pk)
    return {"page": queries.order_page(fresh), "order": fresh, "device": fresh.device, "form": form}


def _form(request: HttpRequest, page: queries.OrderPage) -> FinishForm:
    person = person_of(request)
    return FinishForm(
        request.POST if request.method == "POST" else None,
        places=queries.places(person, Place.Kind.WARD, Place.Kind.STORE, Place.Kind.BENCH),
        may_retire=person.may(May.RETIRE_DEVICE),
        has_others=bool(page.others),
        asks=_asks(page),
        initial={"returned_to": page.device.home_id},
    )


def _asks(page: queries.OrderPage) -> list[str]:
    asked = {"finding": page.order.kind == OrderKind.PLANNED, "caused_by_work": page.work_before is not None}
    return [name for name, is_asked in asked.items() if is_asked]


def _done(request: HttpRequest, row: Order, form: FinishForm) -> Order | None:
    try:
        return actions.complete(row, form.completion(), revision=form.cleaned_data["revision"], by=acting(request))
    except ConflictError as error:
        form.add_error(None, str(error))
    except BenchwardError as error:
        put_beside(form, error)
    return None


def _says(order: Order) -> str:
    goes = f" {order.device} goes back to {order.returned_to}." if order.returned_to else ""
    return f"Order {order} is done: {order.get_outcome_display().lower()}.{goes}"
