import argparse
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

from django.core.management import BaseCommand, CommandError
from tqdm import tqdm

from fleet.audit.actors import command_actor
from fleet.jobs import actions, handlers, queries, timetable, wording, work
from fleet.jobs.models import Job
from fleet.web import clock, phrases


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; write it as YYYY-MM-DD") from None


class Command(BaseCommand):
    help = (
        "Run the nightly jobs now, one after another in this process; those already done for the day are left alone, "
        "and weekly ones on other days."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--day", type=_day, metavar="YYYY-MM-DD", help="the day to run them for (today)")
        parser.add_argument("--only", choices=timetable.BY_KIND, metavar="KIND", help=", ".join(timetable.BY_KIND))
        parser.add_argument("--again", action="store_true", help="run also what is already done for the day")

    def handle(self, *_args: Any, **options: Any) -> None:
        day = options["day"] or clock.today()
        if day > clock.today():
            raise CommandError(f"{phrases.day(day)} lies ahead; choose today or a day that is over.")
        only = options["only"]
        entries = [entry for entry in timetable.NIGHTLY if (entry.kind == only if only else entry.falls_on(day))]
        failed = [entry.kind for entry in entries if not self._run(entry, day, again=options["again"])]
        if failed:
            raise CommandError(f"Failed: {', '.join(failed)}. The other jobs are not affected.")

    def _run(self, entry: timetable.Nightly, day: date, *, again: bool) -> bool:
        """Do one kind's job for the day and say how it went; False if it failed."""
        job = actions.raise_nightly(entry, day, send=False)
        words = handlers.words(entry.kind)
        if job.state == Job.State.DONE and not again:
            self.stdout.write(f"{words}: already done for {phrases.day(day)}; --again runs it again.")
            return True
        if job.state in queries.ENDED:
            why = "manage.py nightly"
            job = actions.put_back(job, why=why, even_done=again, send=False, by=command_actor("nightly"))
        ended = _with_progress_bar(job, words)
        if ended is None:
            self.stdout.write(f"{words}: another worker is doing it.")
            return True
        return self._tell(ended, words)

    def _tell(self, job: Job, words: str) -> bool:
        if job.state == Job.State.DONE:
            self.stdout.write(f"{words}: {wording.counts(job) or 'nothing to count'} ({wording.took(job)}).")
            return True
        self.stderr.write(f"{words}: {job.error}")
        return False


def _with_progress_bar(job: Job, words: str) -> Job | None:
    """Run the job; the bar stands on standard error, and only where that is a terminal."""
    with _log_held(), tqdm(desc=words, unit="", leave=False, disable=None) as bar:

        def show(done: int, total: int | None) -> None:
            bar.total = total
            bar.update(done - bar.n)

        return work.run_job(job.pk, early=True, listener=show)


@contextmanager
def _log_held() -> Iterator[None]:
    """Keep the log of jobs from the terminal: the command says the same in its own words."""
    level = work.logger.level
    work.logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        work.logger.setLevel(level)
