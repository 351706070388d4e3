import argparse
from typing import Any

from django.core.management import BaseCommand, CommandError

from fleet.audit.actors import command_actor
from fleet.core.errors import BenchwardError
from fleet.people.access import Kind, named, note_command
from fleet.people.actions import remove_factor


class Command(BaseCommand):
    help = (
        "Remove the second factor of somebody who lost phone and recovery codes, above all of the last administrator; "
        "for others an administrator does it on the page People."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("username", help="the name that they sign in with")
        parser.add_argument("--why", required=True, help="what was lost, and how you know that it is they who asked")

    def handle(self, *_args: Any, **options: Any) -> None:
        person = named(options["username"])
        if person is None:
            raise CommandError(f"Nobody signs in as {options['username']}.")
        try:
            remove_factor(person, options["why"], by=command_actor("remove_factor"))
        except BenchwardError as error:
            raise CommandError(str(error)) from error
        note_command(Kind.FACTOR_LOST, person, "remove_factor")
        self.stdout.write(f"{person} signs in with the password alone again, and is signed out everywhere.")
