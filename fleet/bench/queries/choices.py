"""What the bench chooses from: the places of a person."""

from django.db.models import QuerySet

from fleet.people.models import Person
from fleet.registry.models import Place
from fleet.registry.queries import open_places


def places(person: Person, *kinds: Place.Kind) -> QuerySet[Place]:
    """Places in use, of the kinds asked for, that the person sees."""
    return open_places(*kinds).within(person)
