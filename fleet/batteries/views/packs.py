"""Packs: the list, one with its whole life, what is done to it, and a new one."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.audit.actors import Actor
from fleet.batteries import actions, queries
from fleet.batteries.filters import PackFilter
from fleet.batteries.forms import CyclesForm, FitForm, PackForm, RemoveForm, ScrapForm
from fleet.batteries.models import Fitting, Pack
from fleet.batteries.tables import PACK_HEADER, PackTable, pack_rows
from fleet.batteries.views.common import FIRST, REFUSED, above
from fleet.batteries.views.device import removal, tagged
from fleet.bench.queries import find
from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.web import clock, csv_out
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard
from fleet.web.paging import paged, with_values


@dataclass(frozen=True, slots=True)
class Act:
    """Something done to a pack: its heading, what is typed for it, what is called, and in which states it can be."""

    title: str
    form: Callable[..., forms.Form]
    do: Callable[[Pack, dict[str, Any], Person, Actor], str]
    states: tuple[str, ...]
    button: str


def _fit(pack: Pack, typed: dict[str, Any], person: Person, by: Actor) -> str:
    found = find(typed["code"], person)
    if found.device is None:
        raise BadValueError(found.words, field="code")
    order = queries.order_at_work(found.device)
    actions.fit(pack, found.device, on=typed["on"], known=typed["known"], order=order, by=by)
    actions.refresh_if_quick(pack.for_type)
    return f"Pack {pack} is fitted to {found.device}."


def _remove(pack: Pack, typed: dict[str, Any], person: Person, by: Actor) -> str:
    stay = Fitting.objects.within(person).filter(pack=pack, removed_on__isnull=True).select_related("device").first()
    if stay is None:
        raise BadValueError(f"Pack {pack} is in no driver of yours.")
    actions.remove(stay.device, **removal(typed), order=queries.battery_order(stay.device), by=by)
    return f"Pack {pack} is out of {stay.device}.{tagged(stay.device, typed)}"


def _scrap(pack: Pack, typed: dict[str, Any], _person: Person, by: Actor) -> str:
    actions.scrap(pack, on=typed["on"], why=typed["why"], by=by)
    return f"Pack {pack} is scrapped. Its tests stay on record."


def _count(pack: Pack, typed: dict[str, Any], _person: Person, by: Actor) -> str:
    count = actions.count_cycles(pack, typed["cycles"], on=typed["on"], by=by)
    return f"{count} on record for pack {pack}."


_FREE = (Pack.State.STOCK, Pack.State.REMOVED)
ACTS = {
    "fit": Act("Fit it to a driver", FitForm, _fit, _FREE, "Fit this pack"),
    "remove": Act("Take it out", RemoveForm, _remove, (Pack.State.FITTED,), "Take it out"),
    "cycles": Act("Count its charge cycles", CyclesForm, _count, (*_FREE, Pack.State.FITTED), "Keep this count"),
    "scrap": Act("Scrap it", ScrapForm, _scrap, _FREE, "Scrap this pack"),
}


def _form(row: Pack, verb: str, act: Act, data: QueryDict | None = None) -> forms.Form:
    """The form of an act; that of a removal asks after the driver the pack is in."""
    stay = Fitting.objects.filter(pack=row, removed_on__isnull=True).select_related("device").first()
    return act.form(data, prefix=verb, **({"device": stay.device} if stay and verb == "remove" else {}))


@guard(May.SEE_FLEET)
@require_safe
def packs(request: HttpRequest) -> HttpResponse:
    """Every pack, narrowed and sorted."""
    narrowed = _narrowed(request)
    context = {
        "above": above(),
        "filter": narrowed,
        "table": paged(request, PackTable(narrowed.qs)),
        "count": narrowed.qs.count(),
        "csv": with_values(request.GET),
    }
    return render(request, "batteries/packs.html", context)


@guard(May.SEE_FLEET)
@require_safe
def packs_csv(request: HttpRequest) -> HttpResponseBase:
    """The same packs as a file for a spreadsheet."""
    rows = _narrowed(request).qs.iterator(chunk_size=500)
    return csv_out.answer(f"packs-{clock.today().isoformat()}", PACK_HEADER, pack_rows(rows))


def _narrowed(request: HttpRequest) -> PackFilter:
    return PackFilter(request.GET, queryset=queries.packs().within(person_of(request)), request=request)


@guard(May.SEE_FLEET)
@require_safe
def pack(request: HttpRequest, number: str) -> HttpResponse:
    """A pack's whole life."""
    return _page(request, fetch(queries.packs(), request, number=number), {})


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_POST
def act_on_pack(request: HttpRequest, number: str, verb: str) -> HttpResponse:
    """Fit it, take it out, count its cycles or scrap it."""
    row = fetch(queries.packs(), request, number=number)
    act = ACTS.get(verb)
    if act is None:
        raise Http404
    form = _form(row, verb, act, request.POST)
    if form.is_valid():
        try:
            words = act.do(row, form.cleaned_data, person_of(request), acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, words)
            return redirect("batteries:pack", number)
    return _page(request, row, {verb: form})


def _page(request: HttpRequest, row: Pack, sent: dict[str, forms.Form]) -> HttpResponse:
    person = person_of(request)
    offered = person.may(May.WORK_ON_BENCH) or person.may(May.KEEP_STORE)
    context = {
        "above": above(),
        "record": queries.pack_record(row, person),
        "acts": [
            (verb, act, sent.get(verb) or _form(row, verb, act), verb in sent)
            for verb, act in ACTS.items()
            if offered and (row.state in act.states or verb in sent)
        ],
        "first": FIRST,
    }
    return render(request, "batteries/pack.html", context, status=REFUSED if sent else 200)


@guard(May.WORK_ON_BENCH, May.KEEP_STORE)
@require_http_methods(["GET", "HEAD", "POST"])
def new_pack(request: HttpRequest) -> HttpResponse:
    """Add a pack to the stock."""
    form = PackForm(request.POST or None, initial={"ordered": queries.open_purchases().exists()})
    if form.is_valid():
        try:
            row = actions.add_pack(form.new_pack(), ordered=form.cleaned_data["ordered"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"Pack {row} is in stock.")
            return redirect("batteries:pack", row.number)
    context = {"form": form, "above": above()}
    return render(request, "batteries/new_pack.html", context, status=REFUSED if form.errors else 200)
