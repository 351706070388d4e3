"""Whose training is on record for which type, in words that tell of records only; and what a place asks."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import QuerySet

from fleet.core.lifecycle import Condition
from fleet.core.training import Held, Standing, held_on
from fleet.people.models import Person
from fleet.people.queries import bench_people
from fleet.registry.models import Device, DeviceType, Place
from fleet.staff.models import Training, TrainingPolicy
from fleet.web import phrases

#: What ends within so many days is shown as ending soon: time to arrange a course (common practice, no source).
SOON_DAYS: Final = 60
HOUSE_DEFAULT: Final = "house default"

Work = Training.Work
Rule = TrainingPolicy.Rule
Spans = list[tuple[date, date | None]]


@dataclass(frozen=True, slots=True)
class Cell:
    """One person and one type: how training for all work stands, and for one kind of work where that is more."""

    device_type: DeviceType
    held: Held
    only: Sequence[tuple[str, Held]] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """One person with a cell for each type."""

    person: Person
    cells: list[Cell]


@dataclass(frozen=True, slots=True)
class Placed:
    """The rule at a place, and where it is stated."""

    rule: Rule
    origin: str = HOUSE_DEFAULT


def in_words(held: Held) -> str:
    """What is on record, as it stands after a name: `training on record until 14 Mar 2027`."""
    if held.standing is Standing.NONE:
        return "no training on record"
    if held.until is None:
        return "training on record, without an end"
    return f"training {'on record until' if held.covers else 'ended'} {phrases.day(held.until)}"


def standing(trainings: QuerySet[Training]) -> QuerySet[Training]:
    """Of these records those that were not withdrawn."""
    return trainings.filter(withdrawn_at__isnull=True)


def held_by(people: Iterable[int], device_type: int, work: Work, day: date) -> dict[int, Held]:
    """How the training of each of these people (their ids) stands on a day for work on a type. One query."""
    ids = list(people)
    rows = standing(Training.objects.filter(person__in=ids, device_type=device_type, work__in={Work.ALL, work}))
    spans: dict[int, Spans] = {pk: [] for pk in ids}
    for person, begins, ends in rows.order_by().values_list("person", "trained_on", "ends_on"):
        spans[person].append((begins, ends))
    return {pk: held_on(held, day, SOON_DAYS) for pk, held in spans.items()}


def types_here(person: Person) -> QuerySet[DeviceType]:
    """The types of the drivers that a person sees, retired ones aside."""
    seen = Device.objects.within(person).exclude(condition=Condition.RETIRED.value).order_by()
    return DeviceType.objects.filter(pk__in=seen.values("device_type")).select_related("maker")


def matrix(person: Person, day: date) -> list[Row]:
    """Everybody who works on the person's benches, against each type there. Three queries."""
    people, types = list(bench_people(person)), list(types_here(person))
    spans = _spans(standing(Training.objects.filter(person__in=people)))
    return [Row(each, [_cell(spans, each.pk, of, day) for of in types]) for each in people]


def of_person(person: Person, seen_by: Person, day: date) -> Row:
    """One person against the types that the reader sees and those that the person has a record for."""
    own = standing(Training.objects.filter(person=person))
    types = DeviceType.objects.filter(pk__in=types_here(seen_by).values("pk")) | DeviceType.objects.filter(
        pk__in=own.values("device_type")
    )
    spans = _spans(own)
    return Row(person, [_cell(spans, person.pk, of, day) for of in types.distinct().select_related("maker")])


def _spans(rows: QuerySet[Training]) -> dict[tuple[int, int, str], Spans]:
    found: dict[tuple[int, int, str], Spans] = {}
    held = rows.order_by().values_list("person", "device_type", "work", "trained_on", "ends_on")
    for person, of, work, begins, ends in held:
        found.setdefault((person, of, work), []).append((begins, ends))
    return found


def _cell(spans: Mapping[tuple[int, int, str], Spans], person: int, of: DeviceType, day: date) -> Cell:
    held = {work: held_on(spans.get((person, of.pk, work), ()), day, SOON_DAYS) for work in Work}
    only = [
        (str(work.label), held[work])
        for work in (Work.SERVICE, Work.REPAIR)
        if held[work].standing is not Standing.NONE and not held[Work.ALL].covers
    ]
    return Cell(of, held[Work.ALL], only)


def rule_at(place: Place) -> Placed:
    """What holds at a place: stated by itself or by the nearest place above it that states something, else: mark it."""
    ids = [int(part) for part in place.path.split("/") if part]
    stated = {row.place_id: row for row in _stated().filter(place__in=ids)}
    return _nearest(ids, stated)


def rules(places: Iterable[Place]) -> list[tuple[Place, Placed, TrainingPolicy | None]]:
    """Each place with what holds there and what it states itself. One query."""
    stated = {row.place_id: row for row in _stated()}
    found = []
    for place in places:
        ids = [int(part) for part in place.path.split("/") if part]
        found.append((place, _nearest(ids, stated), stated.get(place.pk)))
    return found


def _stated() -> QuerySet[TrainingPolicy]:
    return TrainingPolicy.objects.exclude(rule="").select_related("place")


def _nearest(ids: Sequence[int], stated: Mapping[int, TrainingPolicy]) -> Placed:
    row = next((stated[pk] for pk in reversed(ids) if pk in stated), None)
    return Placed(Rule(row.rule), str(row.place)) if row else Placed(Rule.MARK)
