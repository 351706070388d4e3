"""The first page: each role starts where its work is."""

from typing import Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_safe

from fleet.people.queries import person_of, role_of
from fleet.people.roles import Role
from fleet.web.guards import signed_in

STARTS: Final = {
    Role.WARD: "tags:find",
    Role.TECHNICIAN: "bench:queue",
    Role.MANAGER: "reports:overview",
    Role.STOREKEEPER: "batteries:will_not_last",
    Role.ADMINISTRATOR: "people:list",
}


@signed_in
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Send everybody to the page their work begins with; somebody without a role, to their own account."""
    role = role_of(person_of(request))
    return redirect(STARTS[role] if role else "people:account")
