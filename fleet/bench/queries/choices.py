"""What the bench chooses from: procedures, and the places of a person."""

from django.db.models import Count, QuerySet

from fleet.bench.models import Procedure
from fleet.people.models import Person
from fleet.registry.models import Place
from fleet.registry.queries import open_places


def procedures() -> QuerySet[Procedure]:
    """Every procedure with its versions at hand, the newest first, and how many there are (`count`)."""
    rows = Procedure.objects.select_related("device_type__maker").prefetch_related("versions")
    return rows.annotate(count=Count("versions")).order_by("kind", "name")


def places(person: Person, *kinds: Place.Kind) -> QuerySet[Place]:
    """Places in use, of the kinds asked for, that the person sees."""
    return open_places(*kinds).within(person)
