import argparse
import sys
from getpass import getpass
from typing import Any

from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError

from fleet.audit.actors import command_actor
from fleet.core.errors import BenchwardError
from fleet.people.actions import NewPerson, add_person
from fleet.people.models import Person
from fleet.people.roles import Role


class Command(BaseCommand):
    help = "Add somebody who signs in, above all the first administrator; the others are added on the page People."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("username", help="the name to sign in with")
        parser.add_argument("--name", required=True, help="the name shown to others")
        parser.add_argument("--email", default="", help="for the morning e-mail")
        parser.add_argument("--role", choices=[role.value for role in Role], default=Role.ADMINISTRATOR.value)

    def handle(self, *_args: Any, **options: Any) -> None:
        role = Role(options["role"])
        person = Person(username=options["username"], display_name=options["name"], email=options["email"])
        try:
            Person.username_validator(person.username)
            password = _checked_password(person)
            new = NewPerson(
                username=person.username,
                display_name=person.display_name,
                email=person.email,
                role=role,
                password=password,
                everywhere=role is Role.ADMINISTRATOR,
            )
            add_person(new, by=command_actor("add_person"))
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        except BenchwardError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{person} may sign in as {person.username} ({role.label}).")


def _checked_password(person: Person) -> str:
    """Ask for the password, never on the command line, where other users of the machine could read it."""
    password = _asked_twice() if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
    password_validation.validate_password(password, person)
    return password


def _asked_twice() -> str:
    password = getpass("Password: ")
    if getpass("The same again: ") != password:
        raise CommandError("The two passwords differ; nobody was added.")
    return password
