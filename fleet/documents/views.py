"""The library of documents: its list, one document, adding and replacing, and the panel that other pages carry."""

from collections.abc import Callable
from typing import Any, Final, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Model, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.bench.models import Order, Procedure
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.documents import actions, queries
from fleet.documents.actions import NewDocument
from fleet.documents.forms import DocumentForm, LibraryForm, WithdrawForm
from fleet.documents.models import SUBJECTS, Document, DocumentFile, DocumentQuerySet
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device, DeviceType, Party
from fleet.schedules.models import Plan
from fleet.stores.models import Instrument
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard
from fleet.web.uploads import download

PER_PAGE: Final = 25
REFUSED: Final = 422
_READ_OR_SEND: Final = ["GET", "HEAD", "POST"]
#: What a panel may stand beside: its rows, and the name under which a new document is told about it.
_BESIDE: Final[dict[str, tuple[Callable[[Person], QuerySet[Any]], str]]] = {
    "type": (lambda _person: DeviceType.objects.all(), "device_type"),
    "procedure": (lambda _person: Procedure.objects.all(), "procedure"),
    "company": (lambda _person: Party.objects.all(), "party"),
    "plan": (lambda _person: Plan.objects.all(), "plan"),
    "device": (Device.objects.within, "device"),
    "instrument": (Instrument.objects.within, "instrument"),
}


@guard(May.SEE_FLEET)
@require_safe
def documents(request: HttpRequest) -> HttpResponse:
    """The documents in force, or all editions, narrowed as asked; below, the certificates of instruments."""
    person, form = person_of(request), LibraryForm(request.GET)
    typed = form.cleaned_data if form.is_valid() else {}
    rows = _narrowed(queries.documents(person), typed)
    words, kind = typed.get("q", ""), typed.get("kind", "")
    sees = person.may(May.WORK_ON_BENCH) and kind in ("", Document.Kind.CERTIFICATE.value)
    shown = {
        "form": form,
        "page": Paginator(rows, PER_PAGE).get_page(request.GET.get("page")),
        "narrowed": bool(form.changed_data),
        "certificates": queries.certificates(person, words) if sees else [],
        "may_add": person.may(May.WORK_ON_BENCH),
    }
    return render(request, "documents/documents.html", shown)


def _narrowed(rows: DocumentQuerySet, typed: dict[str, Any]) -> DocumentQuerySet:
    rows = queries.naming(rows, typed.get("q") or "")
    wanted = {
        "kind": typed.get("kind"),
        "device_type": typed.get("type"),
        "procedure": typed.get("procedure"),
        "party": typed.get("company"),
        "device__asset_number": typed.get("device"),
        "instrument": typed.get("instrument"),
        "plan": typed.get("plan"),
    }
    rows = rows.filter(Q(**{name: value for name, value in wanted.items() if value}))
    return rows if typed.get("show") == "all" else rows.in_force()


@guard(May.SEE_FLEET)
@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One document: what it is, where it is kept, its earlier and later editions."""
    return _show(request, _fetch(request, pk), WithdrawForm())


def _show(request: HttpRequest, row: Document, form: WithdrawForm) -> HttpResponse:
    shown = {
        "row": row,
        "earlier": _earlier(row),
        "later": row.later.filter(withdrawn_at__isnull=True).first(),
        "form": form,
        "may_add": person_of(request).may(May.WORK_ON_BENCH) and not row.withdrawn_at,
        "above": _above(),
    }
    return render(request, "documents/one.html", shown, status=REFUSED if form.errors else 200)


def _earlier(row: Document) -> list[Document]:
    found, known = [], {row.pk}
    while row.replaces is not None and row.replaces_id not in known:
        row = row.replaces
        known.add(row.pk)
        found.append(row)
    return found


@guard(May.SEE_FLEET)
@require_http_methods(_READ_OR_SEND)
def new(request: HttpRequest) -> HttpResponse:
    """Add a document; the address of the page says what it is about where another page led here."""
    demand(request, May.WORK_ON_BENCH)
    led = {name: request.GET[name] for name in SUBJECTS if name in request.GET}
    form = DocumentForm(request.POST or None, request.FILES or None, person=person_of(request), initial=led)

    def act() -> Document:
        return actions.add_document(_new(form), by=acting(request))

    return _edit(request, form, "Add a document", _above(), act)


@guard(May.SEE_FLEET)
@require_http_methods(_READ_OR_SEND)
def later(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a later edition in the place of this one, which stays and is marked."""
    demand(request, May.WORK_ON_BENCH)
    row = _fetch(request, pk)
    known = {name: getattr(row, name) for name in ("title", "kind", "language")}
    form = DocumentForm(
        request.POST or None, request.FILES or None, person=person_of(request), replaces=row, initial=known
    )

    def act() -> Document:
        return actions.add_document(_new(form, row), by=acting(request))

    return _edit(request, form, "Later edition", _way_to(row), act)


def _new(form: DocumentForm, earlier: Document | None = None) -> NewDocument:
    return NewDocument(facts=form.changes(), file=form.cleaned_data["file"], replaces=earlier)


@guard(May.SEE_FLEET)
@require_http_methods(_READ_OR_SEND)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Put right what is said of a document."""
    demand(request, May.WORK_ON_BENCH)
    row = _fetch(request, pk)
    form = DocumentForm(request.POST or None, person=person_of(request), instance=row)

    def act() -> Document:
        typed = form.cleaned_data
        return actions.edit_document(row, form.changes(), why=typed["why"], opened=typed["opened"], by=acting(request))

    return _edit(request, form, "Edit", _way_to(row), act)


def _edit(
    request: HttpRequest, form: DocumentForm, title: str, above: list[tuple[str, str]], act: Callable[[], Document]
) -> HttpResponse:
    if row := form.saved(act):
        messages.success(request, f"“{row}” is in the library.")
        return redirect("documents:one", row.pk)
    shown = {"form": form, "title": title, "above": above}
    return render(request, "documents/edit.html", shown, status=REFUSED if form.errors else 200)


@guard(May.SEE_FLEET)
@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a document added by mistake count no more."""
    demand(request, May.WORK_ON_BENCH)
    row, form = _fetch(request, pk), WithdrawForm(request.POST)
    if form.is_valid():
        try:
            actions.withdraw_document(row, why=form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, "It counts no more. It stays on record.")
            return redirect("documents:one", row.pk)
    return _show(request, row, form)


@guard(May.SEE_FLEET)
@require_safe
def file(request: HttpRequest, pk: int) -> HttpResponse:
    """The file of a document, by its content's kind and under a name of our own."""
    row = _fetch(request, pk)
    return download(get_object_or_404(DocumentFile, document=row), f"document-{row.pk}")


@guard(May.SEE_FLEET, May.WORK_ON_BENCH)
@require_safe
def beside(request: HttpRequest, what: str, pk: int) -> HttpResponse:
    """The documents about one thing, as a panel for its page."""
    if what not in _BESIDE:
        raise Http404
    rows, name = _BESIDE[what]
    subject = get_object_or_404(rows(person_of(request)), pk=pk)
    return _panel(request, subject, name)


@guard(May.SEE_FLEET, May.WORK_ON_BENCH)
@require_safe
def beside_order(request: HttpRequest, number: str) -> HttpResponse:
    """The documents about an order's driver, its type and its procedure."""
    rows = Order.objects.select_related("device", "procedure_version")
    return _panel(request, fetch(rows, request, number=number), "")


def _panel(request: HttpRequest, subject: Model, name: str) -> HttpResponse:
    person = person_of(request)
    told = cast("Any", subject).asset_number if isinstance(subject, Device) else subject.pk
    shown = {
        "documents": queries.about(subject, person),
        "add": f"{reverse('documents:new')}?{urlencode({name: told})}" if name else "",
        "may_add": person.may(May.WORK_ON_BENCH),
    }
    return render(request, "documents/panel.html", shown)


def _fetch(request: HttpRequest, pk: int) -> Document:
    return get_object_or_404(queries.documents(person_of(request)), pk=pk)


def _above() -> list[tuple[str, str]]:
    return [("Documents", reverse("documents:documents"))]


def _way_to(row: Document) -> list[tuple[str, str]]:
    return [*_above(), (row.title, reverse("documents:one", args=[row.pk]))]
