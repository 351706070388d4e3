"""Reading what belongs to a driver, what was counted last, and what is missing where."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from django.db.models import QuerySet

from fleet.accessories.models import Missing, MissingQuerySet, Tally
from fleet.people.models import Person
from fleet.registry.models import Accessory, Device, Place

#: Said where a type states nothing of its own (our own words, editable for each accessory of a type).
WHAT_TO_DO: Final = "Ask where the driver stood last. Send it out only with another one from stock."


@dataclass(frozen=True, slots=True)
class Belonging:
    """One accessory of a driver: how many belong, and the open record of what lacks, if any does."""

    accessory: Accessory
    missing: Missing | None


def belongings(device: Device) -> list[Belonging]:
    """What belongs to a driver, with what is missing of it. Two queries."""
    lacking = {row.accessory.name: row for row in missing_of(device)}
    standing = Accessory.objects.filter(device_type=device.device_type_id)
    return [Belonging(accessory, lacking.get(accessory.name)) for accessory in standing]


def missing_of(device: Device) -> MissingQuerySet:
    """What a driver lacks now."""
    rows: MissingQuerySet = missing().filter(device=device)
    return rows


def missing() -> MissingQuerySet:
    """All that is missing now, longest first."""
    rows: MissingQuerySet = Missing.objects.select_related(
        "device__device_type__maker", "device__home", "accessory", "place__site"
    ).filter(ended_at__isnull=True)
    return rows.order_by("since", "pk")


def by_place(rows: Iterable[Missing]) -> list[tuple[Place, list[Missing]]]:
    """The same rows under the place each was missed from, in the order of the places' names."""
    found: dict[int, tuple[Place, list[Missing]]] = {}
    for row in rows:
        found.setdefault(row.place_id, (row.place, []))[1].append(row)
    return sorted(found.values(), key=lambda each: (str(each[0].site), each[0].name))


def lately_ended(person: Person, count: int = 12) -> MissingQuerySet:
    """What was found, replaced or given up last at the person's places."""
    rows = Missing.objects.select_related("device", "accessory", "place").within(person)
    return rows.filter(ended_at__isnull=False).order_by("-ended_at", "-pk")[:count]


def named(rows: MissingQuerySet, words: str) -> MissingQuerySet:
    """The rows whose driver, accessory or place the words name."""
    found: MissingQuerySet = (
        rows.filter(device__asset_number__icontains=words)
        | rows.filter(accessory__name__icontains=words)
        | rows.filter(place__name__icontains=words)
    )
    return found


def what_to_do(accessory: Accessory) -> str:
    """What to do when it is missing, as its type states it or else in general."""
    return accessory.if_missing or WHAT_TO_DO


def last_tally(device: Device) -> Tally | None:
    """The latest counting of a driver, with its lines."""
    rows: QuerySet[Tally] = Tally.objects.filter(device=device).select_related("place")
    return rows.prefetch_related("lines__accessory").first()
