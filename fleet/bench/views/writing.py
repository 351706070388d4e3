"""Writing a procedure: the draft with its steps, one step, and what becomes of the draft."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.audit.actors import Actor
from fleet.bench import queries
from fleet.bench.actions import drafts
from fleet.bench.models import ProcedureVersion, Step
from fleet.bench.procedure_forms import (
    ApproveForm,
    LineForm,
    OwnLimits,
    SourceForm,
    SubmitForm,
    WhyForm,
    own_limits,
)
from fleet.bench.queries.faults import NUMBERS, faults, wider
from fleet.bench.queries.lines import NewStep, lines_of
from fleet.bench.queries.procedures import differences_to_force, displaced_by, draft_of, given_up
from fleet.bench.queries.showing import shown_steps
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import guard

REFUSED = 422
CONFLICT = 409
KINDS: Final = (
    (Step.Kind.CHECK, "done, failed, or not applicable with a reason"),
    (Step.Kind.READING, "a number with its unit, judged by limits"),
    (Step.Kind.CHOICE, "one of some options"),
    (Step.Kind.TEXT, "a few words"),
    (Step.Kind.COMPUTED, "a number worked out from earlier readings"),
    (Step.Kind.FILE, "a photo or a PDF"),
)


@dataclass(frozen=True, slots=True)
class Act:
    """Something done to a draft: what is typed for it, what is called with it, what is said then."""

    do: Callable[[ProcedureVersion, dict[str, Any], int, Actor], ProcedureVersion]
    says: str = ""
    form: type[Form] = Form
    moves: int | None = None


def _typed(name: str) -> Callable[[ProcedureVersion, dict[str, Any], int, Actor], ProcedureVersion]:
    """An act that takes what was typed by its own names."""

    def do(draft: ProcedureVersion, typed: dict[str, Any], revision: int, by: Actor) -> ProcedureVersion:
        act: Callable[..., ProcedureVersion] = getattr(drafts, name)
        return act(draft, **typed, revision=revision, by=by)

    return do


def _move(places: int) -> Callable[[ProcedureVersion, dict[str, Any], int, Actor], ProcedureVersion]:
    def do(draft: ProcedureVersion, typed: dict[str, Any], revision: int, by: Actor) -> ProcedureVersion:
        return drafts.move_step(draft, typed["position"], places, revision=revision, by=by)

    return do


#: Acts on one step; each takes its position.
STEP_ACTS: Final = {
    "up": Act(_move(-1), moves=-1),
    "down": Act(_move(1), moves=1),
    "copy": Act(_typed("copy_step"), "The step is copied below itself.", moves=1),
    "remove": Act(_typed("remove_step"), "The step is gone. Undo brings it back.", moves=0),
}
#: The verb, what its key shows, and what it does in words.
STEP_KEYS: Final = (
    ("up", "↑", "Move up"),
    ("down", "↓", "Move down"),
    ("copy", "Copy", "Copy"),
    ("remove", "Remove", "Remove"),
)
ACTS: Final = {
    "undo": Act(_typed("undo"), "The last change is taken back."),
    "source": Act(_typed("state_source"), "Where it comes from is on record.", SourceForm),
    "submit": Act(_typed("submit"), "Sent. Somebody who wrote nothing of it approves it or sends it back.", SubmitForm),
    "take-back": Act(_typed("take_back"), "It is a draft again."),
    "approve": Act(_typed("approve"), "Approved. Orders are started with it from that day on.", ApproveForm),
    "send-back": Act(_typed("send_back"), "Sent back with your reason.", WhyForm),
    "withdraw": Act(_typed("withdraw"), "The draft is given up. It stays on record.", WhyForm),
}


@guard(May.WORK_ON_BENCH)
@require_POST
def begin(request: HttpRequest, code: str) -> HttpResponse:
    """Begin the next version of a procedure, or go on with the draft that is open."""
    row = get_object_or_404(queries.procedures(), code=code)
    if not draft_of(code).exists():
        drafts.begin_draft(row, by=acting(request))
    return redirect("bench:draft", code)


@guard(May.WORK_ON_BENCH)
@require_safe
def draft(request: HttpRequest, code: str) -> HttpResponse:
    """The draft with its steps; without one, the procedure."""
    row = draft_of(code).first()
    return _show(request, row) if row else redirect("bench:procedure", code)


def _show(
    request: HttpRequest, row: ProcedureVersion, bound: dict[str, Form] | None = None, status: int = 200
) -> HttpResponse:
    person = person_of(request)
    lines, waits = lines_of(row), row.state == ProcedureVersion.State.WAITING
    wrote = row.writers.filter(pk=person.pk).exists()
    displaced = displaced_by(row, clock.today())
    shown = {
        "procedure": row.procedure,
        "version": row,
        "steps": shown_steps(row),
        "faults": list(faults(lines, row.source)),
        "differences": differences_to_force(row, clock.today()),
        "kinds": KINDS,
        "step_keys": STEP_KEYS,
        "wider": list(wider(lines)),
        "displaced": displaced,
        "given_up": given_up(displaced, row) if displaced else [],
        "waits": waits,
        "wrote": wrote,
        "may_approve": waits and not wrote and person.may(May.EDIT_REGISTRY),
        "writers": list(row.writers.all()),
        "forms": _forms(row) | (bound or {}),
    }
    return render(request, "bench/draft.html", shown, status=status)


def _forms(row: ProcedureVersion) -> dict[str, Form]:
    return {
        "source": SourceForm(initial={"source": row.source}, prefix="source"),
        "submit": SubmitForm(initial={"changes": row.changes or _first(row)}, prefix="submit"),
        "approve": ApproveForm(initial={"in_force_from": clock.today()}, prefix="approve"),
        "send_back": WhyForm(prefix="send-back"),
        "withdraw": WhyForm(prefix="withdraw"),
    }


def _first(row: ProcedureVersion) -> str:
    return "First version" if row.number == 1 else ""


@guard(May.WORK_ON_BENCH)
@require_POST
def act(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do one of `ACTS` to the draft; a refusal stands beside what was typed."""
    if verb not in ACTS:
        raise Http404(verb)
    row, done = get_object_or_404(draft_of(code)), ACTS[verb]
    form = done.form(request.POST, prefix=verb)
    if form.is_valid():
        try:
            done.do(row, form.cleaned_data, _number(request, "revision"), acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, done.says)
            return redirect("bench:draft", code)
    return _show(request, get_object_or_404(draft_of(code)), {verb.replace("-", "_"): form}, REFUSED)


@guard(May.WORK_ON_BENCH)
@require_POST
def step_act(request: HttpRequest, code: str, position: int, verb: str) -> HttpResponse:
    """Move, copy or remove one step. The key that did it is under the finger again, at the step's new place."""
    if verb not in STEP_ACTS:
        raise Http404(verb)
    row, done = get_object_or_404(draft_of(code)), STEP_ACTS[verb]
    try:
        done.do(row, {"position": position}, _number(request, "revision"), acting(request))
    except BenchwardError as error:
        messages.warning(request, str(error))
        return redirect("bench:draft", code)
    if done.says:
        messages.success(request, done.says)
    at = max(1, position + (done.moves or 0))
    return redirect(f"{reverse('bench:draft', args=[code])}#step-{at}-{verb}")


def _number(request: HttpRequest, name: str) -> int:
    typed = request.POST.get(name, "")
    return int(typed) if typed.isdecimal() else 0


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def step_new(request: HttpRequest, code: str) -> HttpResponse:
    """Add a step of a kind (`?kind=`) below another (`?after=`; without it, at the end)."""
    row = get_object_or_404(draft_of(code))
    asked = request.GET.get("after", "")
    after = int(asked) if asked.isdecimal() else row.steps.count()

    def save(line: NewStep, revision: int) -> int:
        drafts.add_step(row, line, after, revision=revision, by=acting(request))
        return min(after, row.steps.count() - 1) + 1

    return _step(request, row, None, save)


@guard(May.WORK_ON_BENCH)
@require_http_methods(["GET", "HEAD", "POST"])
def step(request: HttpRequest, code: str, position: int) -> HttpResponse:
    """Change a step; `?kind=` makes it another kind."""
    row = get_object_or_404(draft_of(code))
    get_object_or_404(row.steps, position=position)

    def save(line: NewStep, revision: int) -> int:
        drafts.change_step(row, position, line, revision=revision, by=acting(request))
        return position

    return _step(request, row, position, save)


def _step(
    request: HttpRequest, row: ProcedureVersion, position: int | None, save: Callable[[NewStep, int], int]
) -> HttpResponse:
    lines = lines_of(row)
    line = lines[position - 1] if position else None
    kind = request.GET.get("kind", line.kind if line else Step.Kind.CHECK.value)
    if kind not in Step.Kind.values:
        raise Http404(kind)
    form = LineForm(kind, request.POST or None, line=line, revision=row.revision)
    own = _own(request, kind, line)
    status = 200
    if request.method == "POST":
        at, status = _saved(form, own, row, save)
        if at is not None:
            return redirect(f"{reverse('bench:draft', args=[row.procedure.code])}#step-{at}-edit")
    shown = _around(row, lines, position) | {
        "after": request.GET.get("after", ""),
        "stands": line if status == CONFLICT else None,
        "form": form,
        "own": own if kind in NUMBERS else None,
        "kind": kind,
        "kind_words": Step.Kind(kind).label,
        "kinds": KINDS,
    }
    return render(request, "bench/draft_step.html", shown, status=status)


def _saved(
    form: LineForm, own: Any, row: ProcedureVersion, save: Callable[[NewStep, int], int]
) -> tuple[int | None, int]:
    """Save a step that was sent: where it stands then, None where it was not saved, and the answer's status."""
    if not form.is_valid() or not own.is_valid() or form.refuse_wrong(typed := form.line(own_limits(own))):
        return None, REFUSED
    try:
        return save(typed, form.cleaned_data["revision"]), 200
    except BenchwardError as error:
        put_beside(form, error)
        if isinstance(form.data, QueryDict):
            # Once the two were compared, a second saving counts.
            form.data = {**form.data.dict(), "revision": row.revision}
        return None, CONFLICT if isinstance(error, ConflictError) else REFUSED


def _around(row: ProcedureVersion, lines: Sequence[NewStep], position: int | None) -> dict[str, Any]:
    """What the page of a step shows of the draft around it."""
    return {
        "procedure": row.procedure,
        "version": row,
        "above": [
            ("Procedures", reverse("bench:procedures")),
            (str(row), reverse("bench:draft", args=[row.procedure.code])),
        ],
        "here": f"Step {position}" if position else "A new step",
        "position": position,
        "names": [(each.key, number, each.words, each.unit) for number, each in enumerate(lines, start=1) if each.key],
    }


def _own(request: HttpRequest, kind: str, line: NewStep | None) -> Any:
    """The rows of limits by type; those that stand, and an empty one."""
    stands = [
        {"device_type": each.device_type, "low": each.low, "high": each.high, "source": each.source}
        for each in (line.limits if line else ())
    ]
    data = request.POST if request.method == "POST" and kind in NUMBERS else None
    if request.method == "POST" and data is None:
        return OwnLimits({"own-TOTAL_FORMS": "0", "own-INITIAL_FORMS": "0"}, prefix="own")
    return OwnLimits(data, initial=stands, prefix="own")
