"""Parts: the list by place, one with its ledger, a new one, its labels."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final, cast

from django import forms
from django.conf import settings
from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.audit.actors import Actor
from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.stores import actions, queries
from fleet.stores.forms import MoveForm, OrderedForm, PartForm, SaveForm, ScrapForm, ShelfForm, WhyForm
from fleet.stores.labels import label_of
from fleet.stores.models import Part
from fleet.stores.stock_plot import stock_plot
from fleet.stores.tables import PART_HEADER, ShelfFilter, ShelfTable, shelf_mark, shelf_rows
from fleet.web import clock, csv_out
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard
from fleet.web.paging import paged, with_values

REFUSED: Final = 422
#: How far back the plot of a part goes, and how many lines of its ledger stand on its page.
PLOT_DAYS: Final = 365
LEDGER_LINES: Final = 50
MOST_LABELS: Final = 200


def above() -> list[tuple[str, str]]:
    """Where the pages of parts stand."""
    return [("Parts", reverse("stores:parts"))]


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_safe
def shelves(request: HttpRequest) -> HttpResponse:
    """Every part by place, those under their minimum first; `?as=csv` is the same list as a file."""
    rows = queries.kept(clock.today()).within(person_of(request))
    narrowed = ShelfFilter(request.GET, queryset=rows, request=request)
    if request.GET.get("as") == "csv":
        return cast("HttpResponse", csv_out.answer("parts", PART_HEADER, shelf_rows(narrowed.qs)))
    context = {
        "filter": narrowed,
        "table": paged(request, ShelfTable(narrowed.qs)),
        "any": rows.exists(),
        "short": rows.filter(Q(short__gt=0)).count(),
        "nowhere": queries.kept_nowhere(),
        "csv": with_values(request.GET, **{"as": "csv"}),
    }
    return render(request, "stores/parts.html", context)


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_safe
def part(request: HttpRequest, pk: int) -> HttpResponse:
    """One part: where it lies, what is on order, its ledger and its stock over a year."""
    return show(request, get_object_or_404(queries.parts(), pk=pk))


def show(
    request: HttpRequest, row: Part, *, bound: dict[str, forms.Form] | None = None, stock: int | None = None
) -> HttpResponse:
    """The page of a part; `bound` are refused forms, `stock` is the stock that one of them is about."""
    person, today = person_of(request), clock.today()
    kept = list(queries.shelves(today).within(person).filter(part=row))
    lines = queries.ledger(row, person)
    first = lines.last()
    since = max(today - timedelta(days=PLOT_DAYS), clock.local_day(first.done_at) if first else today)
    minimum = sum(each.minimum for each in kept)
    context = {
        "part": row,
        "currency": settings.CURRENCY,
        "above": above(),
        "types": row.types.select_related("maker"),
        "shelves": [(each, shelf_mark(each)) for each in kept],
        "stocks": queries.stocks_of(row).within(person),
        "stock": stock,
        "today": today,
        "purchases": queries.open_purchases().within(person).filter(part=row),
        "ledger": lines[:LEDGER_LINES],
        "more": lines.count() > LEDGER_LINES,
        "plot": stock_plot(queries.stock_history(row, person, since, today), minimum, row.name) if first else "",
        **_forms(person, row),
        **(bound or {}),
    }
    return render(request, "stores/part.html", context, status=REFUSED if bound else 200)


def _forms(person: Person, row: Part) -> dict[str, forms.Form]:
    due = {"quantity": row.reorder_quantity, "expected_on": clock.today() + timedelta(days=row.lead_days)}
    return {
        "move": MoveForm(person=person, prefix="move"),
        "scrap": ScrapForm(prefix="scrap"),
        "call_off": WhyForm(prefix="call_off"),
        "drop": WhyForm(prefix="drop"),
        "keep": ShelfForm(person=person, prefix="keep"),
        "ordered": OrderedForm(person=person, prefix="ordered", initial=due),
        "save": SaveForm(person=person, prefix="save"),
    }


@dataclass(frozen=True, slots=True)
class Act:
    """Something done to a part: what is typed for it, what is called, what is said then."""

    form: Callable[..., forms.Form]
    do: Callable[[Part, dict[str, Any], Person, Actor], object]
    says: str


def _save(row: Part, typed: dict[str, Any], person: Person, by: Actor) -> object:
    device = Device.objects.within(person).filter(asset_number__iexact=typed["asset"].strip()).first()
    if device is None:
        raise BadValueError("No driver of yours has this asset number.", field="asset")
    return actions.save_part(row, typed["place"], device, typed["quantity"], by=by)


def _plain(_person: Person, prefix: str, data: Any = None) -> forms.Form:
    return WhyForm(data, prefix=prefix)


ACTS: Final = {
    "keep": Act(
        lambda person, prefix, data: ShelfForm(data, person=person, prefix=prefix),
        lambda row, typed, _person, by: actions.keep_at(row, by=by, **typed),
        "It is kept there now.",
    ),
    "ordered": Act(
        lambda person, prefix, data: OrderedForm(data, person=person, prefix=prefix),
        lambda row, typed, _person, by: actions.mark_ordered(row, by=by, **typed),
        "It is noted as ordered.",
    ),
    "save": Act(
        lambda person, prefix, data: SaveForm(data, person=person, prefix=prefix),
        _save,
        "It lies in stock now, marked as reused.",
    ),
    "drop": Act(
        _plain, lambda row, typed, _person, by: actions.drop_part(row, typed["why"], by=by), "It is kept no more."
    ),
}


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_POST
def act(request: HttpRequest, pk: int, verb: str) -> HttpResponse:
    """Do one of `ACTS`; a refusal stands beside what was typed."""
    if verb not in ACTS:
        raise Http404(verb)
    row = get_object_or_404(queries.parts(), pk=pk)
    form = ACTS[verb].form(person_of(request), verb, request.POST)
    if form.is_valid():
        try:
            ACTS[verb].do(row, form.cleaned_data, person_of(request), acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, ACTS[verb].says)
            return redirect("stores:part", row.pk)
    return show(request, row, bound={verb: form})


@guard(May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def new_part(request: HttpRequest) -> HttpResponse:
    """Add a part."""
    form = PartForm(request.POST or None)

    def add() -> Part:
        return actions.add_part(form.changes(), types=list(form.cleaned_data["types"]), by=acting(request))

    return _edit(request, form, "Add a part", add)


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def edit_part(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a part's facts."""
    demand(request, May.KEEP_STORE)
    row = get_object_or_404(queries.parts(), pk=pk)
    form = PartForm(request.POST or None, instance=row)

    def change() -> Part:
        typed = form.cleaned_data
        return actions.edit_part(
            row, form.changes(), types=list(typed["types"]), opened=typed["opened"], by=acting(request)
        )

    return _edit(request, form, str(row), change)


def _edit(request: HttpRequest, form: PartForm, title: str, act: Callable[[], Part]) -> HttpResponse:
    if row := form.saved(act):
        messages.success(request, f"{row} is saved.")
        return redirect("stores:part", row.pk)
    context = {"form": form, "title": title, "above": above(), "what": "part"}
    return render(request, "stores/edit.html", context, status=REFUSED if form.errors else 200)


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """Labels for the bins: of the parts asked for, else of all that are kept at the person's places."""
    rows = queries.parts().filter(dropped_on__isnull=True)
    if picked := [each for each in request.GET.getlist("part") if each.isdecimal()]:
        rows = rows.filter(pk__in=picked)
    else:
        rows = rows.filter(pk__in=queries.kept(clock.today()).within(person_of(request)).order_by().values("part"))
    context = {"labels": [label_of(row) for row in rows[:MOST_LABELS]], "above": above(), "here": "Labels"}
    return render(request, "stores/labels.html", context)
