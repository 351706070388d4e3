"""Writing a procedure: a draft, changed step by step with undo, sent for approval, approved by a second person.

Whoever works on a bench may write; a manager who wrote nothing of the draft approves it. Only then can it be started.
"""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.utils.text import slugify

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.audit.models import TrailEntry
from fleet.bench.actions.procedures import check_lines, next_number, refuse_before_last, write_lines
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion
from fleet.bench.queries.lines import NewStep, lines_of
from fleet.bench.queries.procedures import displaced_by
from fleet.bench.queries.stated import line_from, step_table
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.web import clock

State = ProcedureVersion.State
OPEN: Final = (State.DRAFT, State.WAITING)
#: So many changes can be taken back.
MOST_UNDONE: Final = 30
MOST_STEPS: Final = 200
#: Words that stand in addresses beside the codes of procedures.
_TAKEN: Final = frozenset({"new", "import", "file-form"})


@transaction.atomic
def begin_procedure(
    name: str, kind: OrderKind | str, device_type: DeviceType | None, *, by: Actor, source: str = ""
) -> ProcedureVersion:
    """Begin a new procedure with an empty draft. Its code is made from its name."""
    by.must(May.WORK_ON_BENCH)
    named = slugify(name)[:40]
    if not name.strip() or not named:
        raise BadValueError("Give the procedure a name.", field="name")
    if named in _TAKEN or Procedure.objects.filter(code=named).exists():
        raise BadValueError(
            f"The code “{named}” is taken. Choose another name, or write the next version.", field="name"
        )
    procedure = Procedure.objects.create(code=named, name=name.strip(), kind=OrderKind(kind), device_type=device_type)
    return new_draft(procedure, by, source=source.strip())


@transaction.atomic
def begin_draft(procedure: Procedure, *, by: Actor) -> ProcedureVersion:
    """Begin the next version of a procedure, with the steps of its newest approved one."""
    by.must(May.WORK_ON_BENCH)
    approved = procedure.versions.filter(state=State.APPROVED).order_by("-number").first()
    draft = new_draft(procedure, by, source=approved.source if approved else "")
    if approved is not None:
        write_lines(draft, lines_of(approved))
    return draft


def new_draft(procedure: Procedure, by: Actor, *, source: str = "", changes: str = "") -> ProcedureVersion:
    """An empty draft; refused while another one of the procedure is open."""
    Procedure.objects.select_for_update().get(pk=procedure.pk)
    if open_one := procedure.versions.filter(state__in=OPEN).first():
        message = (
            f"Version {open_one.number} is being written already, begun by {open_one.begun_by}. Go on with that one."
        )
        raise BadValueError(message, field="code")
    draft = ProcedureVersion.objects.create(
        procedure=procedure,
        number=next_number(procedure),
        state=State.DRAFT,
        source=source,
        changes=changes,
        begun_at=clock.now(),
        begun_by=by.name[:120],
    )
    _note_writer(draft, by)
    record(Happening("began to write", draft), by=by)
    return draft


def _note_writer(draft: ProcedureVersion, by: Actor) -> None:
    if by.person_id is not None:
        draft.writers.add(by.person_id)


def hold_draft(
    draft: ProcedureVersion, revision: int, by: Actor, *, states: Sequence[str] = (State.DRAFT,)
) -> ProcedureVersion:
    """Lock a draft for somebody who may write. Raises ConflictError for a page older than the draft."""
    by.must(May.WORK_ON_BENCH)
    row = ProcedureVersion.objects.select_for_update(of=("self",)).select_related("procedure").get(pk=draft.pk)
    if row.state not in states:
        state = str(row.get_state_display()).lower()
        raise MoveRefusedError(
            f"Version {row.number} is {state}; only a draft is changed. Begin the next version, or take it back."
        )
    if revision != row.revision:
        raise ConflictError(
            f"This draft was changed after you opened it: {_last_act(row)}. Nothing of yours was saved. "
            "Compare, then save again."
        )
    return row


def _last_act(row: ProcedureVersion) -> str:
    rows = TrailEntry.objects.filter(subject_kind="procedureversion", subject_id=row.pk)
    last = rows.order_by("-pk").first()
    return f"{last.actor} {last.verb} {last.after.get('step', '')}".strip() if last else "look at it again"


def _put(
    row: ProcedureVersion, verb: str, *, by: Actor, told: dict[str, Any] | None = None, why: str = "", **values: Any
) -> ProcedureVersion:
    untold = {"earlier", "revision", "approved_by_id"}
    before, after = change(row, revision=row.revision + 1, **values)
    kept = [{name: value for name, value in each.items() if name not in untold} for each in (before, after)]
    record(Happening(verb, row, before=kept[0], after={**kept[1], **(told or {})}, why=why), by=by)
    return row


def put_lines(  # noqa: PLR0913 - one trail entry tells what, of which step and by whom
    row: ProcedureVersion, lines: Sequence[NewStep], verb: str, *, by: Actor, step: int = 0, keep: bool = True
) -> ProcedureVersion:
    """Make these the steps of a held draft; `keep`: so that it can be undone. `step` is told to the trail."""
    if len(lines) > MOST_STEPS:
        raise BadValueError(
            f"{len(lines)} steps are too many; {MOST_STEPS} is the most. Make two procedures.", field="steps"
        )
    earlier = [*row.earlier, [_kept(line) for line in lines_of(row)]][-MOST_UNDONE:] if keep else row.earlier
    write_lines(row, lines)
    _note_writer(row, by)
    told = (
        {"step": step, "words": lines[step - 1].words if step <= len(lines) else ""} if step else {"steps": len(lines)}
    )
    return _put(row, verb, by=by, told=told, earlier=earlier)


def _kept(line: NewStep) -> dict[str, Any]:
    """A step as JSON holds it; numbers as texts, so that no digit is lost."""
    table = step_table(line)
    for each in (table, *table.get("limits", ())):
        each |= {name: str(each[name]) for name in ("low", "high") if name in each}
    return table


@transaction.atomic
def add_step(draft: ProcedureVersion, line: NewStep, after: int, *, revision: int, by: Actor) -> ProcedureVersion:
    """Put a new step after the one at position `after`; 0 puts it first."""
    row = hold_draft(draft, revision, by)
    lines = lines_of(row)
    position = min(max(after, 0), len(lines)) + 1
    return put_lines(row, [*lines[: position - 1], line, *lines[position - 1 :]], "added step", by=by, step=position)


@transaction.atomic
def change_step(draft: ProcedureVersion, position: int, line: NewStep, *, revision: int, by: Actor) -> ProcedureVersion:
    """Put a step in the place of the one at a position."""
    row = hold_draft(draft, revision, by)
    lines = _with(row, position)
    return put_lines(row, [*lines[: position - 1], line, *lines[position:]], "changed step", by=by, step=position)


@transaction.atomic
def copy_step(draft: ProcedureVersion, position: int, *, revision: int, by: Actor) -> ProcedureVersion:
    """Put a copy of a step below it. A name stands once, so the copy has none."""
    row = hold_draft(draft, revision, by)
    lines = _with(row, position)
    copy = NewStep(**{name: getattr(lines[position - 1], name) for name in NewStep.__slots__} | {"key": ""})
    return put_lines(row, [*lines[:position], copy, *lines[position:]], "copied step", by=by, step=position + 1)


@transaction.atomic
def remove_step(draft: ProcedureVersion, position: int, *, revision: int, by: Actor) -> ProcedureVersion:
    """Take a step out."""
    row = hold_draft(draft, revision, by)
    lines = _with(row, position)
    told = lines[position - 1].words
    rest = [*lines[: position - 1], *lines[position:]]
    return put_lines(row, rest, f"removed step “{told[:60]}”", by=by)


@transaction.atomic
def move_step(draft: ProcedureVersion, position: int, places: int, *, revision: int, by: Actor) -> ProcedureVersion:
    """Move a step down by so many places, up by as many below zero; at an end it stays there."""
    row = hold_draft(draft, revision, by)
    lines = _with(row, position)
    moved = lines.pop(position - 1)
    goal = min(max(position - 1 + places, 0), len(lines))
    lines.insert(goal, moved)
    return put_lines(row, lines, "moved step", by=by, step=goal + 1)


def _with(row: ProcedureVersion, position: int) -> list[NewStep]:
    lines = lines_of(row)
    if not 1 <= position <= len(lines):
        raise BadValueError(f"There is no step {position}; this draft has {len(lines)}.", field="position")
    return lines


@transaction.atomic
def undo(draft: ProcedureVersion, *, revision: int, by: Actor) -> ProcedureVersion:
    """Take the last change to the steps back."""
    row = hold_draft(draft, revision, by)
    if not row.earlier:
        raise MoveRefusedError("There is nothing left to take back.")
    types = {str(each): each for each in DeviceType.objects.select_related("maker")}
    row.earlier, last = row.earlier[:-1], row.earlier[-1]
    row.save(update_fields=["earlier"])
    return put_lines(row, [line_from(_unkept(table), types) for table in last], "took back a change", by=by, keep=False)


def _unkept(table: dict[str, Any]) -> dict[str, Any]:
    limits = [_numbers(each) for each in table.get("limits", ())]
    return _numbers(table) | ({"limits": limits} if limits else {})


def _numbers(table: dict[str, Any]) -> dict[str, Any]:
    return table | {name: Decimal(table[name]) for name in ("low", "high") if name in table}


@transaction.atomic
def state_source(draft: ProcedureVersion, source: str, *, revision: int, by: Actor) -> ProcedureVersion:
    """Say where the procedure comes from, with document and edition."""
    row = hold_draft(draft, revision, by)
    _note_writer(row, by)
    return _put(row, "stated source", by=by, source=source.strip())


@transaction.atomic
def submit(draft: ProcedureVersion, changes: str, *, revision: int, by: Actor) -> ProcedureVersion:
    """Send a draft for approval, with what it changes and why. Refused while a step of it could not be worked."""
    row = hold_draft(draft, revision, by)
    check_lines(lines_of(row), row.source)
    if not changes.strip():
        raise BadValueError("Say what changes, and why: whoever approves it reads this first.", field="changes")
    _note_writer(row, by)
    return _put(row, "sent for approval", by=by, state=State.WAITING, changes=changes.strip(), sent_back_why="")


@transaction.atomic
def take_back(draft: ProcedureVersion, *, revision: int, by: Actor) -> ProcedureVersion:
    """Go on writing at a draft that waits for approval."""
    row = hold_draft(draft, revision, by, states=(State.WAITING,))
    return _put(row, "took back from approval", by=by, state=State.DRAFT)


@transaction.atomic
def approve(
    draft: ProcedureVersion, in_force_from: date, *, revision: int, by: Actor, replaces: str = ""
) -> ProcedureVersion:
    """Approve a draft by somebody who wrote nothing of it; orders are started with it from that day on.

    `replaces`: why it takes the place of another procedure for the same work; refused without it where it would.
    """
    row = _judged(draft, revision, by)
    if in_force_from < clock.today():
        raise BadValueError("It can't be in force in the past; give today or a later day.", field="in_force_from")
    refuse_before_last(row.procedure, in_force_from)
    check_lines(lines_of(row), row.source)
    displaced = displaced_by(row, in_force_from)
    if displaced and not replaces.strip():
        message = (
            f"From that day on “{row.procedure}” would be worked instead of “{displaced.procedure}”. "
            "Say why it takes its place; if it should not, send the draft back."
        )
        raise BadValueError(message, field="replaces")
    return _put(
        row,
        "approved procedure",
        by=by,
        why=f"In place of {displaced}: {replaces.strip()}" if displaced else "",
        state=State.APPROVED,
        in_force_from=in_force_from,
        approved_by_id=by.person_id,
        approved_name=by.name[:120],
        approved_at=clock.now(),
        earlier=[],
    )


@transaction.atomic
def send_back(draft: ProcedureVersion, why: str, *, revision: int, by: Actor) -> ProcedureVersion:
    """Send a draft back to its writers with a reason."""
    row = _judged(draft, revision, by)
    if not why.strip():
        raise BadValueError("Say what has to change; the writer reads this.", field="why")
    return _put(row, "sent back", by=by, why=why.strip(), state=State.DRAFT, sent_back_why=why.strip())


def _judged(draft: ProcedureVersion, revision: int, by: Actor) -> ProcedureVersion:
    by.must(May.EDIT_REGISTRY)
    row = hold_draft(draft, revision, by, states=(State.WAITING,))
    if by.person_id is None or row.writers.filter(pk=by.person_id).exists():
        raise NotAllowedError("You wrote at this draft yourself. A second person approves it, or sends it back.")
    return row


@transaction.atomic
def withdraw(draft: ProcedureVersion, why: str, *, revision: int, by: Actor) -> ProcedureVersion:
    """Give a draft up. It stays on record and is never worked."""
    row = hold_draft(draft, revision, by, states=OPEN)
    if not why.strip():
        raise BadValueError("Say why it is given up.", field="why")
    return _put(row, "withdrew draft", by=by, why=why.strip(), state=State.WITHDRAWN)
