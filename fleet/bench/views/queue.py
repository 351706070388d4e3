"""The bench queue, and taking a driver in."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from fleet.accessories.forms import CountForm
from fleet.bench import actions, queries
from fleet.bench.forms import QueueForm, ReceiveForm
from fleet.bench.models import OrderKind
from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device, Place
from fleet.registry.queries import devices
from fleet.tags.models import Decontamination
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

PER_PAGE = 25
#: So many of one's own orders stand above the queue.
YOURS = 5
_BENCH = "bench"
# What published guidance asks before work begins (bench cautions in short; local policy says more).
_BEFORE = (
    "Unknown cleaning counts as not cleaned: handle and bag it as local policy says.",
    "Write down event log and settings before any self-test, update or battery change.",
    "Look for outside damage and fluid.",
)


@guard(May.WORK_ON_BENCH)
@require_safe
def queue(request: HttpRequest) -> HttpResponse:
    """What is before the bench: harm first, then how short the pool is, then age."""
    person = person_of(request)
    form = QueueForm(request.GET, sites=queries.places(person, Place.Kind.SITE))
    places = queries.queue(person, _narrowed(form, person))
    page = Paginator(places, PER_PAGE).get_page(request.GET.get("page"))
    shown = {"form": form, "page": page, "rows": queries.rows(list(page))}
    if page.number == 1 and not any(request.GET.values()):
        shown |= _yours(person)
    return render(request, "bench/queue.html", shown)


def _yours(person: Person) -> dict[str, object]:
    """What is the person's own, before everybody's: what was given to them first, with its note."""
    given = queries.given_to(person)
    own = queries.queue(person, queries.Narrow(person_id=person.pk))
    first = sorted(own, key=lambda place: place.order_id not in given)[:YOURS]
    rows = [(row, given.get(row.order.pk) if row.order else None) for row in queries.rows(first)]
    return {"yours": rows, "yours_more": len(own) - len(first)}


def _narrowed(form: QueueForm, person: Person) -> queries.Narrow:
    if not form.is_valid():
        return queries.Narrow()
    chosen = form.cleaned_data
    return queries.Narrow(
        person_id=person.pk if chosen["whose"] == "mine" else None,
        unassigned=chosen["whose"] == "nobody",
        site_id=chosen["site"].pk if chosen["site"] else None,
        kind=chosen["kind"],
    )


@guard(May.WORK_ON_BENCH)
def receive(request: HttpRequest) -> HttpResponse:
    """Scan a driver, see what is known and what to mind, and take it in with Enter."""
    if request.method == "POST":
        return _take_in(request)
    code = request.GET.get("code", "").strip()
    if not code:
        return render(request, "bench/receive.html")
    found = queries.find(code, person_of(request))
    if found.device is None:
        return render(request, "bench/receive.html", {"code": code, "unknown": found.words})
    return _show_found(request, found.device, _form(request, found.device))


def _take_in(request: HttpRequest) -> HttpResponse:
    device = fetch(devices(), request, asset_number=request.POST.get("asset", ""))
    form, count = _form(request, device), CountForm(request.POST, device=device, needed=False)
    if not (form.is_valid() and count.is_valid()):
        return _show_found(request, device, form)
    try:
        order = actions.receive(device, **form.cleaned_data, counted=count.counted(), by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return _show_found(request, device, form)
    request.session[_BENCH] = form.cleaned_data["bench"].pk
    messages.success(request, f"{device} is on the bench. {order.get_kind_display()}, order {order}.")
    return redirect("bench:order", order.number)


def _form(request: HttpRequest, device: Device) -> ReceiveForm:
    benches = queries.places(person_of(request), Place.Kind.BENCH)
    work = _work(device, _wanted(request))
    near = benches.filter(site=device.place.site_id).first() or benches.first()
    initial = {
        "bench": request.session.get(_BENCH) or near,
        "kind": work.kind if work else "",
        "decontamination": work.decontamination() if work else Decontamination.UNKNOWN,
    }
    return ReceiveForm(request.POST if request.method == "POST" else None, benches=benches, initial=initial)


def _wanted(request: HttpRequest) -> OrderKind | None:
    """The work that the address asks for: whoever comes from a loan or a retirement has said it already."""
    asked = request.GET.get("for", "")
    return OrderKind(asked) if asked in OrderKind.values else None


def _work(device: Device, wanted: OrderKind | None = None) -> queries.Work | None:
    try:
        return queries.choose_work(device, wanted)
    except BadValueError:
        return None


def _show_found(request: HttpRequest, device: Device, form: ReceiveForm) -> HttpResponse:
    work = _work(device, _wanted(request))
    shown = {
        "device": device,
        "form": form,
        "work": work,
        "going_on": device.condition == Condition.ON_BENCH and work and work.order,
        "quarantine": queries.open_quarantine(device),
        "asks_only": work is not None and work.tag is not None and queries.asks_only(work.tag),
        "before": _BEFORE,
        "count": CountForm(request.POST or None, device=device, needed=False),
        "orders": queries.open_orders(device),
    }
    return render(request, "bench/receive.html", shown)
