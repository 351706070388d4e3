"""Reading the trail: one driver's timeline, and all of it for whoever may."""

from dataclasses import dataclass
from typing import Final

from django.db.models import Q, QuerySet

from fleet.audit.models import TrailEntry
from fleet.core.words import Worded
from fleet.people.models import Person
from fleet.people.queries import people
from fleet.registry.models import Device

#: Entries of one look at a timeline.
A_PAGE: Final = 20


class Topic(Worded):
    """What a timeline can be narrowed to."""

    PLACE = "place", "Condition and place"
    TAGS = "tags", "Tags"
    BENCH = "bench", "Bench"
    PLANNED = "planned", "Planned work"
    ALERTS = "alerts", "Alerts"
    BATTERY = "battery", "Battery"
    LIBRARY = "library", "Library"
    NOTICES = "notices", "Safety notices"


SUBJECTS: Final = {
    Topic.PLACE: ("device",),
    Topic.TAGS: ("tag", "quarantine"),
    Topic.BENCH: ("order",),
    Topic.PLANNED: ("due",),
    Topic.ALERTS: ("alert",),
    Topic.BATTERY: ("pack", "runtimetest"),
    Topic.LIBRARY: ("carried",),
    Topic.NOTICES: ("notice", "affected"),
}


@dataclass(frozen=True, slots=True)
class Timeline:
    """Some entries, the last written first, and the id to go on before; None when there are no older ones."""

    entries: tuple[TrailEntry, ...]
    older: int | None


def history(device: Device) -> QuerySet[TrailEntry]:
    """Everything that was ever done to one driver, the last written first."""
    return TrailEntry.objects.filter(device_ref=device.pk).order_by("-id")


def timeline(device: Device, topic: Topic | None = None, before: int | None = None) -> Timeline:
    """One page of a driver's history, older than the entry with the id `before`. One query."""
    rows = history(device)
    if topic is not None:
        rows = rows.filter(subject_kind__in=SUBJECTS[topic])
    if before is not None:
        rows = rows.filter(pk__lt=before)
    found = tuple(rows[: A_PAGE + 1])
    shown = found[:A_PAGE]
    return Timeline(shown, shown[-1].pk if len(found) > A_PAGE else None)


def names() -> dict[int, str]:
    """Everybody's name by id, also of those who left: the trail keeps some persons by their id. One query."""
    return dict(people().values_list("pk", "display_name"))


def trail(person: Person) -> QuerySet[TrailEntry]:
    """The trail as far as a person may know of it, the last written first.

    That is what was done to the drivers of their places. What belongs to no driver (people, places, plans, types) is
    shown to whoever sees every place, and to others only where they did it themselves.
    """
    rows = TrailEntry.objects.order_by("-id")
    if person.everywhere:
        return rows
    seen = Device.objects.within(person).values("pk")
    return rows.filter(Q(device_ref__in=seen) | Q(device_ref__isnull=True, person=person))
