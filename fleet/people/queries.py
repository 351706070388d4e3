"""Who is asking: the signed-in person as an actor, and who is who."""

from typing import cast

from django.db.models import QuerySet
from django.http import HttpRequest

from fleet.audit.actors import Actor, Source
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.roles import Role


def actor_for(person: Person, *, source: Source = Source.PAGE) -> Actor:
    """The person as an actor with the duties that their groups grant."""
    held = person.get_all_permissions()
    duties = frozenset(duty for duty in May if f"fleet.{duty.value}" in held)
    return Actor(str(person), source, duties, person.pk)


def acting(request: HttpRequest) -> Actor:
    """The signed-in person of a guarded page, as an actor."""
    return actor_for(cast("Person", request.user))


def active_people() -> QuerySet[Person]:
    """Everybody who may sign in."""
    return Person.objects.filter(is_active=True)


def people_in(role: Role) -> QuerySet[Person]:
    """Everybody in a role who may sign in."""
    return active_people().filter(groups__name=role.value)
