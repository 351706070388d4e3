"""The pages of a round: begin one, walk it with a phone, print it, end it."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST, require_safe

from fleet.accessories.queries import missing_of
from fleet.bench.queries import Found, find
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.notices.queries import answered_on
from fleet.people.kept import ANOTHERS, ANOTHERS_WORDS, HEADER, as_asked, is_anothers, kept
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device, Place
from fleet.registry.queries import devices
from fleet.rounds import actions, queries
from fleet.rounds.forms import BeginForm, EndForm, HereForm, PaperForm, StopForm
from fleet.rounds.models import Round, RoundStop
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422
PER_PAGE = 25
#: A longer list is not walked by thumb: scanning finds any driver, and a smaller place has a list of its own.
MOST_SHOWN = 100
#: What the list may be asked to begin with.
IDLE = "idle"
#: Answers that did something to the driver.
UNDONE_ELSEWHERE = (RoundStop.What.TAKEN.value, RoundStop.What.DONE.value)


@guard(May.WORK_ON_BENCH)
@require_safe
def keeper(request: HttpRequest) -> HttpResponse:
    """Give the script that shows the page of a round from the phone where there is no connection."""
    return render(request, "rounds/keeper.js", content_type="text/javascript")


@guard(May.WORK_ON_BENCH)
def rounds(request: HttpRequest) -> HttpResponse:
    """Begin a round; the open ones, and the past ones with what came of each."""
    person = person_of(request)
    form = BeginForm(request.POST or None, places=queries.places(person), initial=_begins(request))
    if request.method == "POST" and form.is_valid():
        try:
            return redirect(
                "rounds:one",
                actions.begin(
                    form.cleaned_data["place"], form.cleaned_data["on"] or clock.today(), by=acting(request)
                ).pk,
            )
        except BenchwardError as error:
            put_beside(form, error)
    known = queries.rounds(person)
    past = Paginator(known.filter(ended_at__isnull=False), PER_PAGE).get_page(request.GET.get("page"))
    shown = {"form": form, "open": known.filter(ended_at__isnull=True), "past": past}
    return render(request, "rounds/rounds.html", shown, status=REFUSED if form.errors else 200)


@guard(May.WORK_ON_BENCH)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """Walk the round: scan, find the driver's card, answer it. `?code=` shows a driver's card and records nothing."""
    row = _fetched(request, pk)
    code = request.GET.get("code", "").strip()
    found = find(code, person_of(request)) if code else None
    shown = {
        "code": code,
        "unknown": found.words if found and found.device is None else "",
        "last": _last(request, row),
    }
    return render(request, "rounds/one.html", {**_shown(request, row, found.device if found else None), **shown})


@guard(May.WORK_ON_BENCH)
@require_POST
def scan(request: HttpRequest, pk: int) -> HttpResponse:
    """A driver was scanned here: it is seen, and its card opens. A number nobody knows is said on the round's page."""
    row = _fetched(request, pk)
    return as_asked(request, _anothers(request, row) or _scanned(request, row))


def _scanned(request: HttpRequest, row: Round) -> HttpResponse:
    code, here = request.POST.get("code", "").strip(), _here(request, row)
    found = find(code, person_of(request))
    if (device := found.device) is None:
        if HEADER in request.headers:
            return _unknown(request, row, found)
        return _at(request, row, code)
    try:
        met = actions.meet(row, device, by=acting(request), here=here, kept=kept(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        _say_moved(request, met, device)
    return _at(request, row, device.asset_number)


@guard(May.WORK_ON_BENCH)
@require_POST
def stop(request: HttpRequest, pk: int, asset: str) -> HttpResponse:
    """Write down what came of a driver. A refusal shows its card again, with what was typed."""
    row = _fetched(request, pk)
    device = fetch(devices(), request, asset_number=asset)
    return as_asked(request, _anothers(request, row) or _stopped(request, row, device))


@guard(May.WORK_ON_BENCH)
@require_POST
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for a driver by any of its numbers: what a phone kept that could not look it up."""
    row = _fetched(request, pk)
    found = find(request.POST.get("code", ""), person_of(request))
    if found.device is None:
        return as_asked(request, _unknown(request, row, found))
    return as_asked(request, _anothers(request, row) or _stopped(request, row, found.device))


def _stopped(request: HttpRequest, row: Round, device: Device) -> HttpResponse:
    form, here = StopForm(request.POST), _here(request, row)
    if form.is_valid():
        try:
            met = actions.stop(row, device, **form.cleaned_data, by=acting(request), here=here, kept=kept(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            _say_moved(request, met, device)
            messages.success(request, f"{device}: {met.get_what_display().lower()}.{_given_up(device)}")
            return _at(request, row, "", last=device.asset_number)
    return render(request, "rounds/one.html", _shown(request, row, device, form), status=REFUSED)


def _unknown(request: HttpRequest, row: Round, found: Found) -> HttpResponse:
    shown = {**_shown(request, row), "code": request.POST.get("code", ""), "unknown": found.words}
    return render(request, "rounds/one.html", shown, status=REFUSED)


def _anothers(request: HttpRequest, row: Round) -> HttpResponse | None:
    """The refusal of what another person typed on this screen; None where it is this person's."""
    if not is_anothers(request):
        return None
    return render(request, "rounds/one.html", {**_shown(request, row), "refused": ANOTHERS_WORDS}, status=ANOTHERS)


@guard(May.WORK_ON_BENCH)
@require_POST
def undo(request: HttpRequest, pk: int, asset: str) -> HttpResponse:
    """Take back the answer of a driver, which then waits for another; its card opens."""
    row = _fetched(request, pk)
    device = fetch(devices(), request, asset_number=asset)
    try:
        held = actions.undo(row, device, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{device}: “{held.get_what_display()}” is taken back.")
    return _at(request, row, device.asset_number)


@guard(May.WORK_ON_BENCH)
def paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Type in what the paper says; each driver is an answer of its own, and one that is refused stays open."""
    row = _fetched(request, pk)
    drivers = [each.device for each in queries.round_page(row).left[:MOST_SHOWN]]
    form = PaperForm(request.POST or None, drivers=drivers)
    if request.method == "POST" and form.is_valid():
        given = [(device, *form.answers(device)) for device in drivers]
        written = sum(_typed_in(request, row, *each) for each in given if each[1])
        messages.success(request, f"{written} answer{'' if written == 1 else 's'} typed in from the paper.")
        return redirect("rounds:one", row.pk)
    shown = _shown(request, row)
    lines = [
        (each, *(form[f"{part}-{each.device.pk}"] for part in ("what", "at", "note")))
        for group in shown["groups"].values()
        for each in group
        if not each.device.quarantined
    ]
    status = REFUSED if form.errors else 200
    return render(request, "rounds/paper.html", {**shown, "form": form, "lines": lines}, status=status)


def _typed_in(request: HttpRequest, row: Round, device: Device, what: str, more: dict[str, Any]) -> bool:
    try:
        actions.stop(row, device, what, **more, by=acting(request))
    except BenchwardError as error:
        messages.error(request, f"{device}: {error}")
        return False
    return True


@guard(May.WORK_ON_BENCH)
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """What came of the round and what is left; then its end. A round that ended shows the same."""
    row = _fetched(request, pk)
    form = EndForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        actions.end(row, by=acting(request), note=form.cleaned_data["note"])
        messages.success(request, f"The round of {row.place} has ended. What is left stays due.")
        return redirect("rounds:end", row.pk)
    return render(request, "rounds/end.html", {"form": form, **_shown(request, row)})


@guard(May.WORK_ON_BENCH)
@require_safe
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The round on paper: the drivers with what is due, and room to write what came of each."""
    return render(request, "rounds/sheet.html", _shown(request, _fetched(request, pk)))


def _fetched(request: HttpRequest, pk: int) -> Round:
    return fetch(Round.objects.select_related("place__site"), request, pk=pk)


def _last(request: HttpRequest, row: Round) -> RoundStop | None:
    """The answer given just now, which one tap takes back."""
    stops = row.stops.filter(latest=True, device__asset_number=request.GET.get("last", ""))
    return stops.select_related("device").exclude(what__in=UNDONE_ELSEWHERE).first()


def _begins(request: HttpRequest) -> dict[str, Any]:
    return {"place": request.GET.get("place"), "on": clock.today()}


def _here(request: HttpRequest, row: Round) -> Place | None:
    """The ward one stands in, as the page was told; None where nothing was said."""
    form = HereForm(request.POST or request.GET, wards=queries.wards_of(row.place))
    form.is_valid()
    place: Place | None = form.cleaned_data.get("here")
    return place


def _first(request: HttpRequest) -> str:
    """What the list is to begin with, as the page was told: the idle drivers, or empty for its own order."""
    asked = request.POST.get("first") or request.GET.get("first", "")
    return asked if asked == IDLE else ""


def _at(request: HttpRequest, row: Round, code: str, last: str = "") -> HttpResponse:
    here = _here(request, row)
    known = {"code": code, "here": here.pk if here else "", "first": _first(request), "last": last}
    query = urlencode({name: value for name, value in known.items() if value})
    return redirect(f"{reverse('rounds:one', args=[row.pk])}{'?' if query else ''}{query}")


def _shown(
    request: HttpRequest, row: Round, device: Device | None = None, form: StopForm | None = None
) -> dict[str, Any]:
    here, first = _here(request, row), _first(request)
    wards = queries.wards_of(row.place)
    page = queries.round_page(row)
    groups: dict[str, list[queries.ToDo]] = {}
    for each in (queries.idle_first(page.left) if first else page.left)[:MOST_SHOWN]:
        groups.setdefault(str(each.device.place), []).append(each)
    above = ("Rounds", reverse("rounds:rounds"))
    shown = {
        "page": page,
        "round": row,
        "above": [above],
        "round_above": [above, (str(row.place), reverse("rounds:one", args=[row.pk]))],
        "groups": groups,
        "beyond": max(len(page.left) - MOST_SHOWN, 0),
        "here": here,
        "first": first,
        "today": clock.today(),
        "here_form": HereForm(initial={"here": here}, wards=wards) if wards else None,
        "ahead": row.on > clock.today(),
    }
    return {**shown, **_card(row, device, form)} if device else shown


def _card(row: Round, device: Device, form: StopForm | None) -> dict[str, Any]:
    met = queries.latest_stop(row, device)
    return {
        "card": queries.to_do_of(device, row.on),
        "sign": queries.signs([device])[device.pk],
        "met": met,
        "missing": missing_of(device),
        "notice_done": answered_on(device, clock.today()),
        "form": form,
        "taken": met is not None and met.what == RoundStop.What.TAKEN,
        "is_retired": device.condition == Condition.RETIRED,
    }


def _say_moved(request: HttpRequest, met: RoundStop, before: Device) -> None:
    """Say that a driver's place was put right, on the act that did it."""
    if met.moved_here and not before.place.path.startswith(met.round.place.path):
        messages.info(request, f"{before} was on record in {before.place}. It is now on record here.")


def _given_up(before: Device) -> str:
    now = devices().get(pk=before.pk)
    lost = now.condition == Condition.NOT_LOCATED != before.condition
    return " It was looked for often enough and is now recorded as not located." if lost else ""
