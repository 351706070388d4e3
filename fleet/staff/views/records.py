"""Who was trained on what: the matrix, one person's records, recording and withdrawing."""

from collections.abc import Iterator

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import acting, bench_people, colleagues, person_of
from fleet.staff import actions, queries
from fleet.staff.forms import TrainingForm, WithdrawForm
from fleet.staff.models import Training
from fleet.web import clock, csv_out
from fleet.web.forms import put_beside
from fleet.web.guards import guard, signed_in

REFUSED = 422
_HEADER = ("Person", "Type", "For", "Trained on", "Counts until", "Trained by", "Evidence", "Withdrawn", "Why")


@guard(May.KEEP_TEAM)
@require_safe
def matrix(request: HttpRequest) -> HttpResponse:
    """Everybody who works on the benches against each type there."""
    rows = queries.matrix(person_of(request), clock.today())
    types = [cell.device_type for cell in rows[0].cells] if rows else []
    return render(request, "staff/matrix.html", {"rows": rows, "types": types, "soon": queries.SOON_DAYS})


@guard(May.KEEP_TEAM)
@require_safe
def records_csv(request: HttpRequest) -> HttpResponseBase:
    """Every record of those on the matrix, the withdrawn too, as a file for a spreadsheet."""
    return csv_out.answer("training", _HEADER, _lines(person_of(request)))


def _lines(person: Person) -> Iterator[tuple[csv_out.Cell, ...]]:
    rows = Training.objects.filter(person__in=bench_people(person)).select_related("person", "device_type__maker")
    for row in rows.order_by("person__display_name", "device_type", "trained_on", "pk"):
        withdrawn = clock.local_day(row.withdrawn_at) if row.withdrawn_at else None
        told = (row.trained_on, row.ends_on, row.by_whom, row.evidence, withdrawn, row.withdrawn_why)
        yield (str(row.person), str(row.device_type), str(row.get_work_display()), *told)


@guard(May.KEEP_TEAM)
@require_http_methods(["GET", "HEAD", "POST"])
def record(request: HttpRequest) -> HttpResponse:
    """Record a training of several people at once."""
    person = person_of(request)
    people, types = bench_people(person), queries.types_here(person)
    initial = {"people": request.GET.getlist("person"), "types": request.GET.getlist("type")}
    form = TrainingForm(request.POST or None, people=people, types=types, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            rows = actions.record_training(form.cleaned_data["people"], form.trained(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{len(rows)} training record{'' if len(rows) == 1 else 's'} added.")
            return redirect("staff:matrix")
    context = {"form": form, "above": [_training()]}
    return render(request, "staff/record.html", context, status=REFUSED if form.errors else 200)


@signed_in
@require_safe
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """What is on record of one person: their own for everybody, colleagues' for whoever keeps team records."""
    return _show(request, _kept(request, pk))


@guard(May.KEEP_TEAM)
@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a training count no longer."""
    row = get_object_or_404(Training, pk=pk, person__in=colleagues(person_of(request)))
    form = WithdrawForm(request.POST, prefix=str(pk))
    if form.is_valid():
        try:
            actions.withdraw_training(row, form.cleaned_data["why"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, "This training counts no longer. It stays on record.")
            return redirect("staff:person", row.person_id)
    return _show(request, row.person, refused=(pk, form))


def _kept(request: HttpRequest, pk: int) -> Person:
    reader = person_of(request)
    rows = colleagues(reader) if reader.may(May.KEEP_TEAM) else Person.objects.filter(pk=reader.pk)
    return get_object_or_404(rows, pk=pk)


def _show(request: HttpRequest, whose: Person, refused: tuple[int, WithdrawForm] | None = None) -> HttpResponse:
    reader = person_of(request)
    keeps = reader.may(May.KEEP_TEAM)
    rows = Training.objects.filter(person=whose).select_related("device_type__maker")
    forms = dict([refused]) if refused else {}
    context = {
        "whose": whose,
        "row": queries.of_person(whose, reader, clock.today()),
        "records": [(row, forms.get(row.pk) or WithdrawForm(prefix=str(row.pk))) for row in rows],
        "keeps": keeps,
        "refused": refused[0] if refused else None,
        "soon": queries.SOON_DAYS,
        "above": [_training()] if keeps else [("Your account", reverse("people:account"))],
    }
    return render(request, "staff/person.html", context, status=REFUSED if refused else 200)


def _training() -> tuple[str, str]:
    return ("Training", reverse("staff:matrix"))
