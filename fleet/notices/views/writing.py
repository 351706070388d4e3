"""Writing a notice down, stating its drivers, opening it, correcting it, closing it."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from fleet.audit.actors import Actor
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.notices import actions, queries
from fleet.notices.forms import CloseForm, CriterionForm, EditionForm
from fleet.notices.models import Criterion, Edition, Notice
from fleet.notices.views.common import REFUSED, above, notice_of
from fleet.notices.views.one import told
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import guard


@guard(May.KEEP_NOTICES)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Write down a notice that came."""
    form = EditionForm(request.POST or None, request.FILES or None, initial={"received_on": clock.today()})
    if form.is_valid():
        try:
            row = _written(form, acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is written down as a draft. State next which drivers it concerns.")
            return redirect("notices:draft", row.number)
    return _facts_page(request, form, None)


@transaction.atomic
def _written(form: EditionForm, by: Actor) -> Notice:
    row = actions.begin(form.changes(), by=by)
    if row.edition:
        _attach(form, row.edition, by)
    return row


def _attach(form: EditionForm, edition: Edition, by: Actor) -> None:
    if sent := form.cleaned_data.get("file"):
        actions.attach(edition, sent, by=by)


@guard(May.KEEP_NOTICES)
@require_http_methods(["GET", "HEAD", "POST"])
def facts(request: HttpRequest, number: str) -> HttpResponse:
    """Change what a draft says."""
    row = notice_of(number)
    edition = _draft_of(row)
    form = EditionForm(request.POST or None, request.FILES or None, instance=edition)
    if form.is_valid() and _saved(form, edition, acting(request)):
        messages.success(request, "The draft is saved.")
        return redirect("notices:draft", row.number)
    return _facts_page(request, form, row)


@transaction.atomic
def _save(form: EditionForm, edition: Edition, by: Actor) -> None:
    actions.edit(edition, form.changes(), opened=form.cleaned_data["opened"], by=by)
    _attach(form, edition, by)


def _saved(form: EditionForm, edition: Edition, by: Actor) -> bool:
    return form.saved(lambda: _save(form, edition, by)) is not None


def _facts_page(request: HttpRequest, form: EditionForm, row: Notice | None) -> HttpResponse:
    shown = {"form": form, "notice": row, "above": above(row)}
    return render(request, "notices/facts.html", shown, status=REFUSED if form.errors else 200)


@guard(May.KEEP_NOTICES)
@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, number: str) -> HttpResponse:
    """A draft: its drivers stated line by line, and what opening it would take."""
    row = notice_of(number)
    edition = _draft_of(row)
    form = CriterionForm(request.POST or None)
    if form.is_valid():
        try:
            line = actions.add_criterion(edition, form.which(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"Added: {line}.")
            return redirect("notices:draft", row.number)
    shown = {
        **told(row),
        "said": edition,
        "criteria": edition.criteria.filter(dropped_at=None).select_related("device_type__maker"),
        "form": form,
        "preview": queries.preview(edition, person_of(request)),
        "above": above(row if row.opened_at else None),
    }
    return render(request, "notices/draft.html", shown, status=REFUSED if form.errors else 200)


@guard(May.KEEP_NOTICES)
@require_POST
def drop(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a line out of a draft."""
    row = notice_of(number)
    line = get_object_or_404(Criterion.objects.filter(dropped_at=None), pk=pk, edition=_draft_of(row))
    actions.drop_criterion(line, by=acting(request))
    messages.success(request, f"Taken out: {line}.")
    return redirect("notices:draft", row.number)


@guard(May.KEEP_NOTICES)
@require_POST
def open_(request: HttpRequest, number: str) -> HttpResponse:
    """Open a draft: its drivers are kept from now on."""
    row = notice_of(number)
    try:
        matched = actions.open_notice(row, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
        return redirect("notices:draft", row.number)
    many = "1 driver" if matched.new == 1 else f"{matched.new} drivers"
    messages.success(
        request,
        f"{row} is open. It concerns {many} more than before."
        if row.opened_at
        else f"{row} is open. It concerns {many}.",
    )
    return redirect("notices:one", row.number)


@guard(May.KEEP_NOTICES)
@require_POST
def correct(request: HttpRequest, number: str) -> HttpResponse:
    """Begin a new edition of a notice."""
    row = notice_of(number)
    try:
        actions.correct(row, by=acting(request))
    except BenchwardError as error:
        messages.error(request, str(error))
        return redirect("notices:one", row.number)
    return redirect("notices:facts", row.number)


@guard(May.KEEP_NOTICES)
@require_http_methods(["GET", "HEAD", "POST"])
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Close a notice, with how it ends."""
    row = notice_of(number)
    form = CloseForm(request.POST or None, notice=row)
    if form.is_valid():
        try:
            actions.close(row, **form.cleaned_data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{row} is closed.")
            return redirect("notices:notices")
    shown = {"form": form, "notice": row, "stand": queries.counts([row])[row.pk], "above": above(row)}
    return render(request, "notices/close.html", shown, status=REFUSED if form.errors else 200)


def _draft_of(row: Notice) -> Edition:
    return get_object_or_404(row.editions.filter(opened_at=None).select_related("notice"))
