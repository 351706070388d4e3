"""What was done about drivers of a notice, several at once, and an answer taken back."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.permissions import May
from fleet.notices import queries
from fleet.notices.models import Affected, Notice, Standing
from fleet.web import clock


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is said of drivers. `what`: what was done, or why the notice does not apply; today without `done_on`."""

    state: str
    what: str
    done_on: date | None = None
    evidence: str = ""


@transaction.atomic
def answer(lines: Iterable[Affected], given: Answer, *, by: Actor) -> int:
    """Answer drivers of a notice, all or none; how many.

    Raises BadValueError naming the field, or MoveRefusedError naming the driver that cannot be answered.
    """
    by.must(May.WORK_ON_BENCH)
    asked = [line.pk for line in lines]
    if not asked:
        raise BadValueError("Tick the drivers that this is the answer for.", field="line")
    _check(given)
    list(Affected.objects.select_for_update(of=("self",)).filter(pk__in=asked).order_by("pk"))
    rows = list(queries.lines().filter(pk__in=asked))
    for row in rows:
        _refuse(row)
    for row in rows:
        _write(row, given, by)
    return len(rows)


@transaction.atomic
def take_back(line: Affected, why: str, *, by: Actor) -> Affected:
    """Take an answer back, with the reason; the driver is open again. What an order did is not taken back here."""
    by.must(May.WORK_ON_BENCH)
    if not why.strip():
        raise BadValueError("Say why the answer is taken back.", field="why")
    row = Affected.objects.select_for_update(of=("self",)).select_related("device", "notice").get(pk=line.pk)
    if row.state == Affected.State.OPEN:
        raise ConflictError(f"No answer for {row.device} stands any more.")
    if row.notice.state != Notice.State.OPEN:
        raise MoveRefusedError(f"{row.notice} is closed. Correct it by a new edition to open it again.")
    fields = {"what": "", "evidence": "", "done_on": None, "answered_at": None, "answered_by_id": None}
    before, after = change(row, state=Affected.State.OPEN, answered_by_name="", **fields)
    told = Happening("took back answer to safety notice", row, row.device_id, before=before, after=after, why=why)
    record(told, by=by)
    return row


def _check(given: Answer) -> None:
    if given.state not in {Affected.State.DONE, Affected.State.NOT_APPLYING}:
        raise BadValueError("Say whether it is done, or does not apply to the driver.", field="state")
    if not given.what.strip():
        done = given.state == Affected.State.DONE
        words = "Say what was done." if done else "Say what was looked at, and why it does not apply."
        raise BadValueError(words, field="what")
    if given.done_on and given.done_on > clock.today():
        raise BadValueError("It cannot have been done later than today.", field="done_on")


def _refuse(row: Affected) -> None:
    stands = Standing(row.stands)  # type: ignore[attr-defined] # annotated by queries.lines
    if row.notice.state != Notice.State.OPEN:
        raise MoveRefusedError(
            f"{row.notice} is {row.notice.get_state_display().lower()}; its drivers stand as they are."
        )
    if stands is Standing.NOT_LOCATED:
        raise MoveRefusedError(f"{row.device} is not located. Record first where it was found, then what was done.")
    if stands is not Standing.OPEN:
        raise ConflictError(f"{row.device} is answered already: {stands.phrase}.")


def _write(row: Affected, given: Answer, by: Actor) -> None:
    before, after = change(
        row,
        state=given.state,
        what=given.what.strip(),
        evidence=given.evidence.strip(),
        done_on=given.done_on or clock.today(),
        answered_at=clock.now(),
        answered_by_id=by.person_id,
        answered_by_name=by.name[:120],
    )
    record(Happening("answered safety notice", row, row.device_id, before=before, after=after), by=by)
