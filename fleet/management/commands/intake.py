import argparse
from pathlib import Path
from typing import Any, Never

from django.core.management import BaseCommand, CommandError
from tqdm import tqdm

from fleet.audit.actors import command_actor
from fleet.core.errors import BenchwardError
from fleet.exchange import actions, wording
from fleet.exchange.actions import Choices, Sending
from fleet.exchange.models import Intake
from fleet.exchange.queries import Progress
from fleet.exchange.reading import DELIMITERS, ENCODINGS

SHOWN = 20
_SIGNS = {name.casefold(): sign for sign, name in DELIMITERS.items()}
_ORDERS = {"day": True, "month": False}


class Command(BaseCommand):
    help = "Check a CSV file of records here and now, without a job worker; --commit takes it in if no row is refused."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("kind", choices=Intake.Kind.values, help="what the file holds")
        parser.add_argument("file", type=Path)
        parser.add_argument("--commit", action="store_true", help="write the rows, all or none")
        parser.add_argument("--dates", choices=_ORDERS, help="what stands first in dates written in digits")
        parser.add_argument("--decimal-comma", action="store_true", help="numbers are written 5,5")
        parser.add_argument("--encoding", choices=ENCODINGS, default="", help="detected if left out")
        parser.add_argument("--delimiter", choices=_SIGNS, default="", help="detected if left out")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            intake = self._checked(options)
            if intake.state != Intake.State.READY:
                raise CommandError(f"Nothing was written. {intake.error or self._refused(intake)}")
            for line in wording.committing(intake):
                self.stdout.write(line)
            if options["commit"]:
                self._commit(intake)
            else:
                self.stdout.write("Nothing was written yet; --commit writes it.")
        except OSError as error:
            raise CommandError(f"{options['file']}: {error.strerror}") from error
        except BenchwardError as error:
            raise CommandError(str(error)) from error

    def _checked(self, options: dict[str, Any]) -> Intake:
        choices = Choices(
            encoding=options["encoding"],
            delimiter=_SIGNS.get(options["delimiter"], ""),
            day_first=_ORDERS.get(options["dates"]),
            decimal_comma=options["decimal_comma"],
        )
        path: Path = options["file"]
        new = Sending(kind=options["kind"], file_name=path.name, content=path.read_bytes(), choices=choices)
        intake = actions.send(new, by=command_actor("intake"), enqueued=False)
        with tqdm(desc="Check", unit=" rows", leave=False, disable=None) as bar:
            actions.check(intake.pk, progress=_shown_on(bar))
        intake.refresh_from_db()
        for note in intake.notes:
            self.stdout.write(note)
        return intake

    def _refused(self, intake: Intake) -> str:
        for row, column, value, right in intake.refusals[:SHOWN]:
            self.stderr.write(f"row {row}, {column}: {value or '(empty)'}: {right}")
        return f"{wording.things(intake, intake.refused_rows)} refused, the first problems stand above."

    def _commit(self, intake: Intake) -> None:
        actions.ask_commit(intake, by=command_actor("intake"), enqueued=False)
        with tqdm(desc="Commit", unit=" rows", leave=False, disable=None) as bar:
            actions.commit(intake.pk, progress=_shown_on(bar))
        intake.refresh_from_db()
        if intake.state != Intake.State.COMMITTED:
            raise CommandError(intake.error)
        self.stdout.write(f"Committed: {wording.committed(intake)}")


def _shown_on(bar: "tqdm[Never]") -> Progress:
    def show(done: int, total: int | None) -> None:
        bar.total = total
        bar.update(done - bar.n)

    return show
