"""Persons, their roles, places and absences."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from django.contrib.auth.models import Group, Permission
from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor, command_actor
from fleet.audit.changes import change, changed_meanwhile
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.core.permissions import May
from fleet.people.actions.sessions import end_sessions
from fleet.people.models import Absence, Person
from fleet.people.queries import absences, person_fingerprint
from fleet.people.roles import ROLE_DUTIES, Role
from fleet.web import clock, phrases

#: A longer absence is a slip of the year, or is entered again when it is over.
_LONGEST_DAYS: Final = 731


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPerson:
    """What is needed to add a person. `places` are Place rows (or their ids); `everywhere` sees all."""

    username: str
    display_name: str
    role: Role
    email: str = ""
    phone: str = ""
    password: str | None = None
    everywhere: bool = False
    wants_digest: bool = True
    places: tuple[Any, ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonFacts:
    """All that an administrator keeps of a person; `values` are fields that `edit_person` takes."""

    role: Role
    places: tuple[Any, ...]
    values: Mapping[str, Any]


@transaction.atomic
def ensure_roles() -> None:
    """Make a group for each role with exactly the duties of the table. Safe to run again.

    Where a role that was there held other duties, the trail tells which: everybody in it may do more or less from now.
    """
    for role, duties in ROLE_DUTIES.items():
        group, is_new = Group.objects.get_or_create(name=role.value)
        before = sorted(group.permissions.values_list("codename", flat=True))
        wanted = sorted(duty.value for duty in duties)
        if before == wanted:
            continue
        group.permissions.set(Permission.objects.filter(content_type__app_label="fleet", codename__in=wanted))
        if not is_new:
            told = Happening("changed duties of role", group, before={"duties": before}, after={"duties": wanted})
            record(told, by=command_actor("roles"))


@transaction.atomic
def add_person(new: NewPerson, *, by: Actor) -> Person:
    """Add somebody who signs in. Raises BadValueError when the sign-in name is taken."""
    by.must(May.MANAGE_PEOPLE)
    if Person.objects.filter(username__iexact=new.username).exists():
        msg = f"The sign-in name “{new.username}” is taken. Choose another."
        raise BadValueError(msg, field="username")
    person = Person(
        username=new.username,
        display_name=new.display_name,
        email=new.email,
        phone=new.phone,
        everywhere=new.everywhere,
        wants_digest=new.wants_digest,
    )
    person.set_password(new.password)
    person.save()
    person.groups.set([_group(new.role)])
    person.places.set(new.places)
    after = {"role": new.role.value, "everywhere": new.everywhere, "places": [str(place) for place in new.places]}
    record(Happening("added person", person, after=after), by=by)
    return person


@transaction.atomic
def edit_person(person: Person, *, by: Actor, why: str = "", **values: Any) -> Person:
    """Change a person's name, reach, digest, scope flag or whether they may sign in (`is_active`).

    Whoever may no longer sign in is signed out everywhere at once.
    """
    by.must(May.MANAGE_PEOPLE)
    if by.person_id == person.pk and values.get("is_active") is False:
        msg = "You can't end your own sign-in. Another administrator can."
        raise NotAllowedError(msg)
    row = Person.objects.select_for_update().get(pk=person.pk)
    before, after = change(row, **values)
    if after:
        record(Happening("changed person", row, before=before, after=after, why=why), by=by)
    if after.get("is_active") is False:
        end_sessions(row)
    return row


@transaction.atomic
def update_person(person: Person, facts: PersonFacts, *, by: Actor, opened: str | None = None) -> Person:
    """Change a person's facts, role and places together, or nothing of it.

    `opened`: the fingerprint that the form was opened with. Raises ConflictError if anything was changed since.
    """
    by.must(May.MANAGE_PEOPLE)
    held = Person.objects.select_for_update().get(pk=person.pk)
    if opened is not None and opened != person_fingerprint(held):
        raise changed_meanwhile(held)
    row = edit_person(person, by=by, **facts.values)
    set_role(row, facts.role, by=by)
    set_places(row, facts.places, by=by)
    return row


@transaction.atomic
def edit_own(person: Person, *, display_name: str, phone: str, wants_digest: bool, by: Actor) -> Person:
    """Change what everybody may change about themselves."""
    _must_be_self(person, by)
    row = Person.objects.select_for_update().get(pk=person.pk)
    before, after = change(row, display_name=display_name, phone=phone, wants_digest=wants_digest)
    if after:
        record(Happening("changed own account", row, before=before, after=after), by=by)
    return row


@transaction.atomic
def set_password(person: Person, password: str, *, by: Actor) -> Person:
    """Give a person another password: their own, or with the duty to manage people. Ends their other sessions.

    The caller has checked the password's strength; the trail never holds it.
    """
    if by.person_id != person.pk:
        by.must(May.MANAGE_PEOPLE)
    row = Person.objects.select_for_update().get(pk=person.pk)
    row.set_password(password)
    row.save(update_fields=["password"])
    record(Happening("set password", row), by=by)
    return row


def _must_be_self(person: Person, by: Actor) -> None:
    if by.person_id != person.pk:
        msg = "This is somebody else's account."
        raise NotAllowedError(msg)


@transaction.atomic
def set_role(person: Person, role: Role, *, by: Actor) -> None:
    """Give a person exactly one role."""
    by.must(May.MANAGE_PEOPLE)
    before = sorted(person.groups.values_list("name", flat=True))
    if before == [role.value]:
        return
    if by.person_id == person.pk:
        msg = "You can't change your own role. Another administrator can."
        raise NotAllowedError(msg)
    person.groups.set([_group(role)])
    record(Happening("changed role", person, before={"role": before}, after={"role": [role.value]}), by=by)


@transaction.atomic
def set_places(person: Person, places: Iterable[Any], *, by: Actor) -> None:
    """Bound what a person sees to these places and what lies below them."""
    by.must(May.MANAGE_PEOPLE)
    before = sorted(str(place) for place in person.places.all())
    person.places.set(places)
    after = sorted(str(place) for place in person.places.all())
    if after != before:
        record(Happening("changed places", person, before={"places": before}, after={"places": after}), by=by)


def _group(role: Role) -> Group:
    ensure = Group.objects.filter(name=role.value).first()
    if ensure is None:
        ensure_roles()
    return ensure or Group.objects.get(name=role.value)


@transaction.atomic
def note_absence(person: Person, first: date, last: date, reason: str = "", *, by: Actor) -> Absence:
    """Note days on which somebody is away: oneself, or with the duty to keep team records a colleague.

    The trail tells the days and not the reason, which is private. Raises BadValueError for days that do not fit.
    """
    _must_be_own_or_kept(person, by)
    held = Person.objects.select_for_update().get(pk=person.pk)
    if last < first:
        raise BadValueError("The last day is the first day or a later one.", field="last")
    if (last - first).days > _LONGEST_DAYS:
        raise BadValueError("That is longer than two years; check the years.", field="last")
    if there := absences([held], first, last).first():
        days = f"{phrases.day(there.first)} to {phrases.day(there.last)}"
        raise BadValueError(f"{held} is noted as away from {days} already; take that back first.", field="first")
    row = Absence.objects.create(
        person=held,
        first=first,
        last=last,
        reason=reason.strip()[:120],
        entered_by_id=by.person_id,
        entered_name=by.name[:120],
        entered_at=clock.now(),
    )
    record(Happening("noted absence", row, after={"first": first, "last": last}), by=by)
    return row


@transaction.atomic
def withdraw_absence(absence: Absence, *, by: Actor) -> Absence:
    """Take an absence back; it stays on record as one that holds no longer. Taken back twice, nothing changes."""
    _must_be_own_or_kept(absence.person, by)
    row = Absence.objects.select_for_update().get(pk=absence.pk)
    if row.withdrawn_at is None:
        change(row, withdrawn_at=clock.now(), withdrawn_name=by.name[:120])
        record(Happening("took back absence", row, before={"first": row.first, "last": row.last}), by=by)
    return row


def _must_be_own_or_kept(person: Person, by: Actor) -> None:
    if by.person_id != person.pk:
        by.must(May.KEEP_TEAM)
