"""The procedures: the shelf, one version as it will be worked, as a sheet to print and as a file; and files read in."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.bench import actions, queries
from fleet.bench.actions.drafts import begin_procedure
from fleet.bench.models import Procedure, ProcedureVersion
from fleet.bench.procedure_forms import BeginForm, ImportForm, ShelfForm
from fleet.bench.queries.procedures import Shelf, shelf, shelves, state_words
from fleet.bench.queries.showing import ShownStep, shown_steps
from fleet.bench.queries.stated import as_text
from fleet.bench.queries.stating import FIELDS, LIMIT_FIELDS, PROCEDURE_FIELDS
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import guard

REFUSED = 422


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_safe
def procedures(request: HttpRequest) -> HttpResponse:
    """The shelf: what is being written, what is in force, what comes and what is no longer used."""
    form = ShelfForm(request.GET)
    narrowed = form.cleaned_data if form.is_valid() else {}
    device_type = narrowed.get("device_type")
    found = shelves(
        clock.today(),
        words=narrowed.get("q", ""),
        kind=narrowed.get("kind", ""),
        state=narrowed.get("state", ""),
        device_type=device_type.pk if device_type else None,
    )
    context = {
        "form": form,
        # Asked for what waits or is being written, the list is of that, and not of what is worked by meanwhile.
        "found": [] if narrowed.get("state") else [each for each in found if each.in_force or each.coming],
        "written": sorted((each for each in found if each.open), key=_is_unsent),
        "idle": [each for each in found if not (each.in_force or each.coming or each.open)],
        "any": Procedure.objects.exists(),
        "may_write": person_of(request).may(May.WORK_ON_BENCH),
    }
    return render(request, "bench/procedures.html", context)


def _is_unsent(held: Shelf) -> bool:
    """What waits for a second person stands before what is still being written."""
    return held.open is None or held.open.state != ProcedureVersion.State.WAITING


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_safe
def procedure(request: HttpRequest, code: str) -> HttpResponse:
    """One version as it will be worked: the one in force, unless `?version=` asks for another."""
    return render(request, "bench/procedure.html", _shown(request, code))


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_safe
def sheet(request: HttpRequest, code: str) -> HttpResponse:
    """The version as a checklist on paper."""
    return render(request, "bench/procedure_sheet.html", _shown(request, code))


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_safe
def file(request: HttpRequest, code: str) -> HttpResponse:
    """The version as a plain file."""
    version: ProcedureVersion = _shown(request, code)["version"]
    answer = HttpResponse(as_text([version]), content_type="text/plain; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{version.procedure.code}-{version.number}.toml"'
    return answer


def _shown(request: HttpRequest, code: str) -> dict[str, Any]:
    row = get_object_or_404(queries.procedures(), code=code)
    held = shelf(row, clock.today())
    versions = list(row.versions.all())
    asked = request.GET.get("version", "")
    version = next((each for each in versions if str(each.number) == asked), held.newest or next(iter(versions), None))
    if version is None:
        raise Http404(code)
    return {
        "procedure": row,
        "shelf": held,
        "versions": [(each, state_words(each, held)) for each in versions],
        "version": version,
        "state": state_words(version, held),
        "steps": _steps(version),
        "may_write": person_of(request).may(May.WORK_ON_BENCH),
    }


def _steps(version: ProcedureVersion) -> list[ShownStep]:
    return shown_steps(version)


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Begin a new procedure."""
    form = BeginForm(request.POST or None)
    if form.is_valid():
        try:
            draft = begin_procedure(**form.cleaned_data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            return redirect("bench:draft", draft.procedure.code)
    return render(request, "bench/procedure_new.html", {"form": form}, status=REFUSED if form.errors else 200)


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def bring(request: HttpRequest) -> HttpResponse:
    """Read a file: each procedure in it becomes a draft, all or none."""
    form = ImportForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        try:
            made = actions.import_drafts(form.cleaned_data["text"], by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, _told(made))
            return redirect("bench:procedures")
    return render(request, "bench/procedure_import.html", {"form": form}, status=REFUSED if form.errors else 200)


def _told(made: list[ProcedureVersion]) -> str:
    if not made:
        return "Every procedure of the file stands already as it says. Nothing was changed."
    names = ", ".join(str(each) for each in made)
    return f"Drafts made: {names}. Read them, then send them for approval."


@guard(May.WORK_ON_BENCH, May.SEE_REPORTS)
@require_safe
def file_form(request: HttpRequest) -> HttpResponse:
    """The form of a procedure file, with an example."""
    tables = [("A procedure", PROCEDURE_FIELDS), ("A step", FIELDS), ("A limit of one type", LIMIT_FIELDS)]
    return render(request, "bench/procedure_file.html", {"tables": tables})
