"""Files sent in, the jobs that work on them, and how a file stands against the record now."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from django.utils import timezone

from fleet.exchange.cells import Ways
from fleet.exchange.columns import Table, parse
from fleet.exchange.kinds import Kind, Scope, Verdict, Weighed, kind_of
from fleet.exchange.models import Intake, IntakeQuerySet
from fleet.exchange.reading import Sheet, read
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.web import clock

#: A job that no worker has begun by then is told as waiting.
PATIENCE: Final = timedelta(seconds=6)
#: What a list of files does not need: each can be many megabytes.
HEAVY: Final = ("content", "refusals", "notes", "changes", "verdicts")
ACTIVE: Final = (Intake.State.CHECKING, Intake.State.COMMITTING)
Progress = Callable[[int, int | None], None]


@dataclass(frozen=True, slots=True)
class Stand:
    """A file read and weighed against the record as it is now. Nothing is written."""

    sheet: Sheet
    table: Table
    weighed: Weighed

    @property
    def verdicts(self) -> str:
        """A letter a row."""
        return "".join(self.weighed.verdicts)

    def count(self, verdict: Verdict) -> int:
        """How many rows the check found so."""
        return self.weighed.verdicts.count(verdict)


def intakes(person: Person) -> IntakeQuerySet:
    """The files the person may know of, the latest first, without their contents."""
    rows: IntakeQuerySet = Intake.objects.all()
    return rows.within(person).defer(*HEAVY).select_related("sent_by")


def stand(intake: Intake, *, progress: Progress) -> Stand:
    """Read a file and weigh each row. Raises BadValueError for a file that can't be read as a table."""
    kind = kind_of(intake.kind)
    names = [column.name for column in kind.columns]
    content = bytes(intake.content)
    sheet = read(content, names, encoding=intake.encoding, delimiter=intake.delimiter)
    progress(0, len(sheet.lines))
    table = parse(sheet, kind.columns, _ways(intake))
    progress(len(table) // 2, len(table))
    weighed = kind.weigh(table, scope_of(intake))
    table.problems.sort(key=lambda problem: problem.row)
    progress(len(table), len(table))
    return Stand(sheet, table, weighed)


def _ways(intake: Intake) -> Ways:
    zone = timezone.get_default_timezone()
    return Ways(day_first=intake.day_first, decimal_comma=intake.decimal_comma, zone=zone, now=clock.now())


def scope_of(intake: Intake) -> Scope:
    """Whose places count for a file: its sender's; every place for a file taken in by a command on the server."""
    return Scope(intake.sent_by, f"file {intake.file_name} (intake {intake.pk})")


def kind_of_file(intake: Intake) -> Kind:
    """What kind of file it is."""
    return kind_of(intake.kind)


def job_key(intake: Intake, step: str) -> str:
    """The key of the job that does this step of this check: one job, however often the button is pressed."""
    return f"intake:{intake.pk}:{step}:{intake.checks}"


def job_of(intake: Intake) -> Job | None:
    """The job that works on the file, or worked on it last."""
    step = "check" if intake.state in {Intake.State.CHECKING, Intake.State.REFUSED, Intake.State.READY} else "commit"
    return Job.objects.filter(key=job_key(intake, step)).first()


def may_check_again(intake: Intake) -> bool:
    """Whether the file can be checked anew: it is not on record, and no job that still may work is on it."""
    if intake.state in ACTIVE:
        job = job_of(intake)
        return job is not None and job.state == Job.State.FAILED
    return bool(intake.state != Intake.State.COMMITTED)


def sent_before(intake: Intake) -> Intake | None:
    """A committed file of the same content and kind, from the same person."""
    same = Intake.objects.filter(digest=intake.digest, kind=intake.kind, sent_by=intake.sent_by)
    return same.filter(state=Intake.State.COMMITTED).exclude(pk=intake.pk).defer(*HEAVY).first()
