"""Who is asking, who is who, how they sign in, who works together, and who is away."""

from collections.abc import Iterable
from datetime import date, datetime
from itertools import accumulate
from typing import Any, Final, cast

from django.apps import apps
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.http import HttpRequest
from django_otp.plugins.otp_totp.models import TOTPDevice

from fleet.audit.actors import Actor, Source
from fleet.audit.changes import fingerprint
from fleet.core.permissions import May
from fleet.people.models import Absence, AccessEntry, Person, RecoveryCode, SignInRule
from fleet.people.roles import Role
from fleet.people.scope import place_paths
from fleet.web import clock

#: The columns of a person that an administrator keeps, beside role and places.
PERSON_FACTS: Final = ("display_name", "email", "phone", "everywhere", "wants_digest", "is_active")

#: The duties of those who manage people or what the house decides: the middle choice of the rule for sign-ins.
KEEPER_DUTIES: Final = (May.MANAGE_PEOPLE, May.EDIT_REGISTRY, May.KEEP_TEAM, May.SET_RISK_LIMITS)


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
    """Everybody, also those who may no longer sign in, with their role, places and whether they `has_factor`."""
    held = TOTPDevice.objects.filter(user=OuterRef("pk"), confirmed=True)
    return Person.objects.prefetch_related("groups", "places").annotate(has_factor=Exists(held))


def factor_of(person: Person) -> Any:
    """The second factor of a person; None where it is off."""
    return TOTPDevice.objects.filter(user=person, confirmed=True).first()


def factor_in_the_making(person: Person) -> Any:
    """The secret that a person was given and has not confirmed with a code; None where there is none."""
    return TOTPDevice.objects.filter(user=person, confirmed=False).first()


def codes_left(person: Person) -> int:
    """How many recovery codes a person has not used."""
    return RecoveryCode.objects.filter(person=person, ended_at__isnull=True).count()


def sign_in_rule() -> SignInRule:
    """Who must have a second factor; the default where nobody stated it."""
    return SignInRule.objects.filter(pk=SignInRule.ONLY).first() or SignInRule(changed_at=clock.now(), changed_by="")


def must_have_factor(person: Person) -> bool:
    """Whether the rule asks a second factor of this person."""
    must = sign_in_rule().second_factor
    return must == SignInRule.Must.EVERYBODY or (
        must == SignInRule.Must.KEEPERS and any(person.may(duty) for duty in KEEPER_DUTIES)
    )


def having_factor() -> tuple[int, int, int, int]:
    """Of those who may sign in: how many have a second factor, how many there are; the same of the keepers alone."""
    duties = [duty.value for duty in KEEPER_DUTIES]
    everybody = active_people()
    keepers = everybody.filter(pk__in=Person.objects.filter(groups__permissions__codename__in=duties).values("pk"))
    held = TOTPDevice.objects.filter(confirmed=True).values("user")
    counts = (everybody.filter(pk__in=held), everybody, keepers.filter(pk__in=held), keepers)
    one, two, three, four = (rows.count() for rows in counts)
    return one, two, three, four


def wrong_codes(person: Person, since: datetime) -> int:
    """How many wrong codes were given for a person, from wherever."""
    kind = AccessEntry.Kind.WRONG_CODE
    return AccessEntry.objects.filter(person=person, kind=kind, at__gt=since).count()


def access() -> QuerySet[AccessEntry]:
    """The log of sign-ins and refusals, the last first."""
    return AccessEntry.objects.select_related("person").order_by("-id")


def role_of(person: Person) -> Role | None:
    """The person's role; None for somebody who has not been given one."""
    names = {group.name for group in person.groups.all()}
    return next((role for role in Role if role.value in names), None)


def places_to_give() -> QuerySet[Any]:
    """The places a person can be bound to: those in use. Places belong to the registry, which stands above."""
    return apps.get_model("fleet", "Place")._default_manager.filter(closed_on__isnull=True)  # noqa: SLF001 - Django's name


def person_fingerprint(person: Person) -> str:
    """What an administrator keeps of a person, as it stands now, as a short text that a form carries along."""
    places = ",".join(str(pk) for pk in sorted(person.places.values_list("pk", flat=True)))
    return f"{fingerprint(person, PERSON_FACTS)}-{role_of(person) or ''}-{places}"


def colleagues(person: Person) -> QuerySet[Person]:
    """Those who may sign in and see a place that this person sees too, the person among them."""
    paths = place_paths(person)
    if paths is None:
        return active_people()
    shared = Q(everywhere=True) | Q(pk=person.pk)
    for path in paths:
        above = [f"{start}/" for start in accumulate(path.strip("/").split("/"), lambda one, two: f"{one}/{two}")]
        shared |= Q(places__path__startswith=path) | Q(places__path__in=[f"/{start}" for start in above])
    return active_people().filter(pk__in=Person.objects.filter(shared).values("pk"))


def bench_people(person: Person) -> QuerySet[Person]:
    """Of a person's colleagues those who may work on the bench."""
    workers = Person.objects.filter(groups__permissions__codename=May.WORK_ON_BENCH.value)
    return colleagues(person).filter(pk__in=workers.values("pk"))


def absences(people: Iterable[Person] | QuerySet[Person], first: date, last: date | None = None) -> QuerySet[Absence]:
    """When these people are away, of what ends on the first day or later (and begins on the last or before)."""
    rows = Absence.objects.filter(person__in=people, withdrawn_at__isnull=True, last__gte=first)
    return (rows.filter(first__lte=last) if last else rows).select_related("person")


def away_on(day: date) -> dict[int, date]:
    """Who is away on a day, by the id of the person, with the last day of it."""
    rows = Absence.objects.filter(withdrawn_at__isnull=True, first__lte=day, last__gte=day)
    return dict(rows.order_by("last").values_list("person", "last"))
