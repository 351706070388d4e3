"""Who is asking: the signed-in person as an actor, and who is who."""

from typing import Any, cast

from django.apps import apps
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


def person_of(request: HttpRequest) -> Person:
    """The signed-in person of a guarded page."""
    return cast("Person", request.user)


def acting(request: HttpRequest) -> Actor:
    """The signed-in person of a guarded page, as an actor."""
    return actor_for(person_of(request))


def active_people() -> QuerySet[Person]:
    """Everybody who may sign in."""
    return Person.objects.filter(is_active=True)


def people() -> QuerySet[Person]:
    """Everybody, also those who may no longer sign in, with their role and places."""
    return Person.objects.prefetch_related("groups", "places")


def role_of(person: Person) -> Role | None:
    """The person's role; None for somebody who has not been given one."""
    names = {group.name for group in person.groups.all()}
    return next((role for role in Role if role.value in names), None)


def places_to_give() -> QuerySet[Any]:
    """The places a person can be bound to: those in use. Places belong to the registry, which stands above."""
    return apps.get_model("fleet", "Place")._default_manager.filter(closed_on__isnull=True)  # noqa: SLF001 - Django's name
