"""The only writers of training records and of what places ask of them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.registry.models import DeviceType, Place
from fleet.staff.models import Training, TrainingPolicy
from fleet.staff.queries import standing
from fleet.web import clock

POLICY_FACTS: Final = ("rule",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trained:
    """A training as it is recorded: on which types, when, by whom or with what evidence, until when it counts."""

    types: tuple[DeviceType, ...]
    trained_on: date
    by_whom: str = ""
    evidence: str = ""
    ends_on: date | None = None
    work: Training.Work = Training.Work.ALL


@transaction.atomic
def record_training(people: Iterable[Person], trained: Trained, *, by: Actor) -> list[Training]:
    """Record one training of several people on one or more types: all of it, or nothing of it.

    Raises BadValueError for what does not fit, and for whom it is on record already.
    """
    by.must(May.KEEP_TEAM)
    each = sorted(people, key=lambda person: person.pk)
    _check(each, trained)
    held = list(Person.objects.select_for_update().filter(pk__in=[person.pk for person in each]).order_by("pk"))
    same = {"work": trained.work, "trained_on": trained.trained_on, "device_type__in": trained.types}
    if there := standing(Training.objects.filter(person__in=held, **same)).first():
        raise BadValueError(f"The training of {there} of this day is on record already.", field="people")
    return [_recorded(person, of, trained, by) for person in held for of in trained.types]


def _check(people: list[Person], trained: Trained) -> None:
    if not people:
        raise BadValueError("Choose at least one person.", field="people")
    if not trained.types:
        raise BadValueError("Choose at least one type.", field="types")
    if trained.trained_on > clock.today():
        raise BadValueError("Record a training once it has taken place; this day is still to come.", field="trained_on")
    if trained.ends_on is not None and trained.ends_on < trained.trained_on:
        raise BadValueError("It counts until the day of the training or a later one.", field="ends_on")
    if not (trained.by_whom.strip() or trained.evidence.strip()):
        raise BadValueError("Say who trained them, or what shows that it took place.", field="by_whom")


def _recorded(person: Person, of: DeviceType, trained: Trained, by: Actor) -> Training:
    row = Training.objects.create(
        person=person,
        device_type=of,
        work=trained.work,
        trained_on=trained.trained_on,
        by_whom=trained.by_whom.strip(),
        evidence=trained.evidence.strip(),
        ends_on=trained.ends_on,
        entered_at=clock.now(),
        entered_name=by.name[:120],
    )
    told = {"type": str(of), "for": str(row.get_work_display()), "on": row.trained_on, "until": row.ends_on}
    record(Happening("recorded training", row, after={**told, "by": row.by_whom, "evidence": row.evidence}), by=by)
    return row


@transaction.atomic
def withdraw_training(training: Training, why: str, *, by: Actor) -> Training:
    """Let a training count no longer, with the reason; the record stays. Refused where somebody else already did."""
    by.must(May.KEEP_TEAM)
    if not why.strip():
        raise BadValueError("Say why it counts no longer.", field="why")
    row = Training.objects.select_for_update().get(pk=training.pk)
    if row.withdrawn_at is not None:
        raise ConflictError(f"{row.withdrawn_name} withdrew this training already: {row.withdrawn_why}")
    change(row, withdrawn_at=clock.now(), withdrawn_name=by.name[:120], withdrawn_why=why.strip()[:200])
    record(Happening("withdrew training", row, why=why.strip()), by=by)
    return row


@transaction.atomic
def set_training_policy(
    place: Place, rule: str, *, by: Actor, why: str = "", opened: str | None = None
) -> TrainingPolicy:
    """State what holds at a place for work without training in date; empty: what holds above it.

    `opened`: the fingerprint of POLICY_FACTS that the form was opened with. Raises ConflictError or BadValueError.
    """
    by.must(May.EDIT_REGISTRY)
    if rule and rule not in TrainingPolicy.Rule.values:
        raise BadValueError("Choose to mark or to refuse, or leave it to the place above.", field="rule")
    held = Place.objects.select_for_update().get(pk=place.pk)
    row, _ = TrainingPolicy.objects.select_for_update(of=("self",)).get_or_create(place=held)
    refuse_changed(row, POLICY_FACTS, opened)
    before, after = change(row, rule=rule)
    if after:
        record(Happening("set training policy", row, before=before, after=after, why=why), by=by)
    return row
