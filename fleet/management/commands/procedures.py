import argparse
from pathlib import Path
from typing import Any

from django.core.management import BaseCommand, CommandError

from fleet.alerts.actions import ensure_kinds
from fleet.audit.actors import command_actor
from fleet.bench.actions import ensure_retirement_methods, ensure_starter_procedures, import_drafts
from fleet.bench.actions.reference import ensure_reference_limits
from fleet.core.errors import BenchwardError
from fleet.schedules.actions import ensure_risk_classes


class Command(BaseCommand):
    help = (
        "Publish the starter procedures, kinds of alert, reference limits and classes of the risk score that are not "
        "there yet; with a file, make drafts of its procedures instead, which a manager approves on their pages. "
        "Without a procedure no driver can be accepted or returned: run it before the first one is received."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, help="procedures in the form of docs/procedure-files.md")

    def handle(self, *_args: Any, **options: Any) -> None:
        by = command_actor("procedures")
        try:
            if path := options["file"]:
                published = import_drafts(path.read_text(encoding="utf-8"), by=by)
            else:
                published = ensure_starter_procedures(by)
                self.stdout.write(f"Kinds of alert added: {len(ensure_kinds(by))}")
                self.stdout.write(f"Ways to dispose and wipe added: {ensure_retirement_methods(by)}")
                self.stdout.write(f"Classes of the risk score added: {len(ensure_risk_classes(by))}")
                self.stdout.write(f"Reference limits added, not verified: {len(ensure_reference_limits(by))}")
        except (OSError, UnicodeDecodeError) as error:
            raise CommandError(f"{options['file']} can't be read: {error}") from error
        except BenchwardError as error:
            raise CommandError(str(error)) from error
        for version in published:
            self.stdout.write(f"{'Draft' if version.state == version.State.DRAFT else 'Published'}: {version}")
        if not published:
            self.stdout.write("Every procedure stands already as it is stated.")
