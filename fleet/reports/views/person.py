"""Who is asking, as the pages of this room need it."""

from django.http import HttpRequest

from fleet.core.permissions import May
from fleet.people.queries import person_of


def sees_fleet(request: HttpRequest) -> bool:
    """Whether the person may read the whole of a driver's page, not only what a ward needs."""
    return person_of(request).may(May.SEE_FLEET)
