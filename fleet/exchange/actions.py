"""Taking a file in: sent, checked (nothing written), committed all or nothing.

Checking and committing are jobs. A commit weighs the file anew, outside any transaction, then writes in one; the
transaction is held only while rows are written: 100,000 devices or tests with their trail took about 15 s of one core,
and on SQLite nobody else writes meanwhile (benchmarks/bench_intake.py). If the record has moved since the check that
the person saw, nothing is written and the first row that stands differently is named.
"""

import gc
import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor, Source, command_actor
from fleet.core.errors import BadValueError, BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.exchange import queries
from fleet.exchange.kinds import Verdict, kind_of
from fleet.exchange.models import Intake
from fleet.exchange.queries import Progress, Stand
from fleet.exchange.reading import DELIMITERS, ENCODINGS
from fleet.jobs.actions import enqueue
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.web import clock

_MEGABYTE = 1024 * 1024
_NAME_LENGTH = 120
CHECK_JOB = "check_intake"
COMMIT_JOB = "commit_intake"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """How the file is to be read. Empty: detect it; `day_first` None: no choice was made."""

    encoding: str = ""
    delimiter: str = ""
    day_first: bool | None = None
    decimal_comma: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sending:
    """A file as it was sent."""

    kind: str
    file_name: str
    content: bytes
    choices: Choices = Choices()


@transaction.atomic
def send(new: Sending, *, by: Actor, enqueued: bool = True) -> Intake:
    """Keep a file as sent and have it checked. Raises BadValueError for a file that is too large, or empty.

    The name is kept as words only: no file of that name is ever written. `enqueued=False`: the caller checks it itself.
    """
    by.must(May.IMPORT_RECORDS)
    kind_of(new.kind)
    _check_choices(new.choices)
    _check_size(len(new.content))
    intake = Intake.objects.create(
        kind=new.kind,
        file_name=_plain_name(new.file_name),
        digest=hashlib.sha256(new.content).hexdigest(),
        content=new.content,
        sent_by_id=by.person_id,
        sent_at=clock.now(),
        **_stored(new.choices),
    )
    record(Happening("sent file", intake, after={"kind": intake.kind, "sha-256": intake.digest}), by=by)
    if enqueued:
        _enqueue(CHECK_JOB, "check", intake)
    return intake


def _check_choices(choices: Choices) -> None:
    if choices.encoding and choices.encoding not in ENCODINGS:
        raise BadValueError(f"{choices.encoding!r} is no encoding here: {', '.join(ENCODINGS)}.", field="encoding")
    if choices.delimiter and choices.delimiter not in DELIMITERS:
        raise BadValueError(f"{choices.delimiter!r} is no delimiter here: , ; | or tab.", field="delimiter")


def _check_size(size: int) -> None:
    if size > settings.INTAKE_MEGABYTES * _MEGABYTE:
        words = f"The file has {size / _MEGABYTE:.1f} MB; at most {settings.INTAKE_MEGABYTES} MB are taken in at once."
        raise BadValueError(f"{words} Send it in parts.", field="file")
    if not size:
        raise BadValueError("The file is empty. It needs a header row and at least one row below it.", field="file")


def _plain_name(name: str) -> str:
    printable = "".join(sign for sign in PurePath(name.replace("\\", "/")).name if sign.isprintable())
    return printable[-_NAME_LENGTH:] or "file"


def _stored(choices: Choices) -> dict[str, Any]:
    return {
        "encoding": choices.encoding,
        "delimiter": choices.delimiter,
        "day_first": choices.day_first,
        "decimal_comma": choices.decimal_comma,
    }


def _enqueue(kind: str, step: str, intake: Intake) -> None:
    enqueue(kind, key=queries.job_key(intake, step), payload={"intake": intake.pk})


@transaction.atomic
def check_again(intake: Intake, choices: Choices, *, by: Actor) -> Intake:
    """Check a file that is not committed once more, read another way or against the record as it is now."""
    by.must(May.IMPORT_RECORDS)
    _check_choices(choices)
    row = _locked(intake.pk)
    if not queries.may_check_again(row):
        raise ConflictError(f"This file is {row.get_state_display().lower()}; it is not checked again.")
    how = _stored(choices)
    _set(row, state=Intake.State.CHECKING, checks=row.checks + 1, error="", **how)
    record(Happening("asked to check file again", row, after=how), by=by)
    _enqueue(CHECK_JOB, "check", row)
    return row


def check(intake_id: int, *, progress: Progress) -> dict[str, int]:
    """Find out what a commit would do. Of the records nothing is written; what was found is kept with the file."""
    intake = Intake.objects.select_related("sent_by").get(pk=intake_id)
    if intake.state != Intake.State.CHECKING:
        return {}
    try:
        found = queries.stand(intake, progress=progress)
    except BenchwardError as error:
        _refuse_whole(intake, error)
        return {"refused": 1}
    return _keep(intake, found)


@transaction.atomic
def _refuse_whole(intake: Intake, error: BenchwardError) -> None:
    row = _locked(intake.pk)
    if _is_outdated(intake, row):
        return
    _set(row, state=Intake.State.REFUSED, error=str(error), rows=0, refusals=[], notes=[], changes=[], verdicts="")


def _is_outdated(checked: Intake, row: Intake) -> bool:
    """Whether a check ended that nobody waits for any more: another was begun since, or the file went on."""
    return row.state != Intake.State.CHECKING or row.checks != checked.checks


@transaction.atomic
def _keep(intake: Intake, found: Stand) -> dict[str, int]:
    row = _locked(intake.pk)
    if _is_outdated(intake, row):
        return {}
    counts = {
        "rows": len(found.table),
        "new_rows": found.count(Verdict.NEW),
        "same_rows": found.count(Verdict.SAME),
        "changed_rows": found.count(Verdict.CHANGED),
        "refused_rows": found.count(Verdict.REFUSED),
    }
    _set(
        row,
        state=Intake.State.REFUSED if counts["refused_rows"] else Intake.State.READY,
        encoding=found.sheet.encoding,
        delimiter=found.sheet.delimiter,
        refusals=[list(problem) for problem in found.table.problems],
        notes=found.table.notes,
        changes=[list(one) for one in found.weighed.changes],
        verdicts=found.verdicts,
        **counts,
    )
    return {name.removesuffix("_rows"): number for name, number in counts.items()}


@transaction.atomic
def ask_commit(intake: Intake, *, by: Actor, enqueued: bool = True) -> Intake:
    """Have a checked file committed. Raises ConflictError unless it was checked and has no refused row."""
    by.must(May.IMPORT_RECORDS)
    row = _locked(intake.pk)
    if row.state != Intake.State.READY:
        raise ConflictError(
            f"{row.file_name}: {row.get_state_display().lower()}. Only a checked file can be committed."
        )
    _set(row, state=Intake.State.COMMITTING)
    record(Happening("asked to commit file", row, after={"kind": row.kind}), by=by)
    if enqueued:
        _enqueue(COMMIT_JOB, "commit", row)
    return row


def commit(intake_id: int, *, progress: Progress) -> dict[str, int]:
    """Write every row of a file, or none. Run again after it was done, it changes nothing."""
    intake = Intake.objects.select_related("sent_by").get(pk=intake_id)
    if intake.state != Intake.State.COMMITTING:
        return {}
    try:
        found = queries.stand(intake, progress=progress)
        _refuse_moved(intake, found)
        _write(intake, found, progress)
    except (BenchwardError, IntegrityError) as error:
        stop(intake_id, _words(error))
        return {"stopped": 1}
    return {"new": intake.new_rows, "changed": intake.changed_rows, "already_known": intake.same_rows}


def _words(error: Exception) -> str:
    if isinstance(error, IntegrityError):
        return "Somebody wrote a record of this file at the same moment. Nothing was written. Check the file again."
    return str(error)


def stop(intake_id: int, words: str) -> None:
    """Keep why a file was not committed, or not checked. It can be checked again."""
    Intake.objects.filter(pk=intake_id, state__in=queries.ACTIVE).update(state=Intake.State.FAILED, error=words)


def _refuse_moved(intake: Intake, found: Stand) -> None:
    """Refuse if the record no longer stands as the person saw it in the check."""
    pairs = zip(intake.verdicts, found.verdicts, strict=True)
    moved = next((index for index, (then, now) in enumerate(pairs) if then != now), None)
    if moved is not None:
        raise ConflictError(_moved(found, moved))
    if [list(one) for one in found.weighed.changes] != intake.changes:
        words = "A driver of this file was changed since the check, so other values would be replaced than were shown."
        raise ConflictError(f"{words} Nothing was written. Check the file again.")


def _moved(found: Stand, index: int) -> str:
    row = found.table.rows[index]
    why = next((problem for problem in found.table.problems if problem.row == row), None)
    named = next((texts[index] for texts in found.table.texts.values() if texts[index]), "")
    words = f"{why.field}: {why.right}" if why else "It is on record now otherwise than at the check."
    start = f"Since the check the record has changed. Row {row} ({named}): {words}"
    return f"{start} Nothing was written. Check the file again."


@transaction.atomic
def _write(intake: Intake, found: Stand, progress: Progress) -> None:
    row = _locked(intake.pk)
    if row.state != Intake.State.COMMITTING:
        raise ConflictError(f"{row.file_name}: {row.get_state_display().lower()}.")
    by = actor_of(row)
    by.must(May.IMPORT_RECORDS)
    total = row.new_rows + row.changed_rows
    with _uncollected():
        found.weighed.write(by, lambda done: progress(done, total))
    _set(row, state=Intake.State.COMMITTED, committed_at=clock.now(), error="")
    counts = {"new": row.new_rows, "changed": row.changed_rows, "already known": row.same_rows}
    record(Happening("committed file", row, after={"kind": row.kind, **counts}), by=by)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Hold Python's collector of cycles meanwhile: among so many rows it was a third of the time of the lock."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def actor_of(intake: Intake) -> Actor:
    """Who writes the rows: the sender, coming in by a file."""
    person: Person | None = intake.sent_by
    return actor_for(person, source=Source.IMPORT) if person else command_actor("intake").through(Source.IMPORT)


def _locked(intake_id: int) -> Intake:
    rows = Intake.objects.select_for_update(of=("self",)).select_related("sent_by").defer("content")
    return rows.get(pk=intake_id)


def _set(row: Intake, **values: Any) -> None:
    for name, value in values.items():
        setattr(row, name, value)
    row.save(update_fields=list(values))
