"""Who is asking, as the pages of this room need it."""

from typing import cast

from django.http import HttpRequest

from fleet.core.permissions import May
from fleet.people.models import Person


def person_of(request: HttpRequest) -> Person:
    """The signed-in person of a guarded page."""
    return cast("Person", request.user)


def sees_fleet(request: HttpRequest) -> bool:
    """Whether the person may read the whole of a driver's page, not only what a ward needs."""
    return person_of(request).may(May.SEE_FLEET)
