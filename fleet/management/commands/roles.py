from typing import Any

from django.core.management import BaseCommand

from fleet.people.actions import ensure_roles
from fleet.people.roles import ROLE_DUTIES


class Command(BaseCommand):
    help = "Make the roles, or give each again exactly the duties of this version; run it after every update."

    def handle(self, *_args: Any, **_options: Any) -> None:
        ensure_roles()
        for role, duties in ROLE_DUTIES.items():
            self.stdout.write(f"{role.label}: {len(duties)} duties")
