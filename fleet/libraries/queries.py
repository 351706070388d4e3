"""Which library version a driver must carry, and where it stands.

What a place requires is the requirement of the place itself or of the nearest place above it that has one in force;
there the one in force longest last began counts. It is the driver's home place that counts, not where it was last seen.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db.models import Case, Count, F, Q, QuerySet, Sum, When
from django.utils import timezone

from fleet.core.lifecycle import Condition
from fleet.core.words import Worded
from fleet.libraries.models import Carried, CoverageSnapshot, Library, LibraryVersion, Requirement
from fleet.people.models import Person
from fleet.people.scope import place_paths
from fleet.registry.models import Device, DeviceQuerySet, Place

#: A driver not seen for longer may carry anything. Our own default, no source; local policy decides.
NOT_SEEN_DAYS: Final = 30


class State(Worded):
    """Where a driver stands with its library."""

    CURRENT = "current", "Current"
    BEHIND = "behind", "Behind"
    NOT_SEEN = "not_seen", "Not seen lately"
    UNKNOWN = "unknown", "Never seen"
    FREE = "free", "No version required"


@dataclass(frozen=True, slots=True)
class Standing:
    """One driver: its state, what its place requires and what it was last seen to carry."""

    state: State
    required: LibraryVersion | None
    carried: LibraryVersion | None
    seen_at: datetime | None

    @property
    def withdrawn(self) -> bool:
        """Whether the driver was last seen with a version that has been withdrawn."""
        return self.carried is not None and self.carried.withdrawn_on is not None


@dataclass(frozen=True, slots=True)
class Coverage:
    """The drivers whose home is one place, counted by state."""

    place: Place
    required: LibraryVersion | None
    counts: Mapping[State, int]
    withdrawn: int

    @property
    def total(self) -> int:
        """Drivers for which this place requires a version."""
        return sum(count for state, count in self.counts.items() if state is not State.FREE)

    @property
    def current(self) -> int:
        """Drivers known to carry what is required."""
        return self.counts.get(State.CURRENT, 0)


def libraries() -> QuerySet[Library]:
    """Every library, with the number of its versions (`version_count`)."""
    return Library.objects.annotate(version_count=Count("versions")).order_by("name")


def versions(person: Person) -> QuerySet[LibraryVersion]:
    """Every version, newest first in each library, with the person's drivers seen to carry it (`carried_count`)."""
    seen = Q(carried_by__device__in=counted_devices(person))
    rows = LibraryVersion.objects.select_related("library").annotate(carried_count=Count("carried_by", filter=seen))
    return rows.order_by("library__name", "-released_on", "-id")


def requirements(library: Library, person: Person) -> QuerySet[Requirement]:
    """Which places require a library's versions from when: the person's, and those above whose word holds there too."""
    rows = Requirement.objects.filter(version__library=library).select_related("place__site", "version__library")
    if not person.everywhere:
        ids = {int(part) for path in place_paths(person) or () for part in path.split("/") if part}
        rows = rows.filter(Q(place__in=Place.objects.within(person)) | Q(place__in=ids))
    return rows.order_by("-from_day", "place__name")


class Required:
    """The version each place requires on a day. Reads the requirements once; ask for many places."""

    def __init__(self, on: date) -> None:
        rows = Requirement.objects.filter(from_day__lte=on).select_related("version__library")
        self._by_place = {row.place_id: row.version for row in rows.order_by("from_day", "id")}

    def at(self, place: Place) -> LibraryVersion | None:
        """The version required at `place`, by itself or by the nearest place above it."""
        ids = [int(part) for part in place.path.split("/") if part]
        return next((self._by_place[pk] for pk in reversed(ids) if pk in self._by_place), None)


def state_of(required: LibraryVersion | None, carried: LibraryVersion | None, *, seen_lately: bool) -> State:
    """Where a driver stands. A newer version of the same library counts as current, a withdrawn one as behind."""
    if required is None:
        return State.FREE
    if carried is None:
        return State.UNKNOWN
    if not seen_lately:
        return State.NOT_SEEN
    reached = carried.library_id == required.library_id and carried.released_on >= required.released_on
    return State.CURRENT if reached and carried.withdrawn_on is None else State.BEHIND


def seen_limit(on: date, not_seen_days: int = NOT_SEEN_DAYS) -> datetime:
    """The moment before which a sight is too old: midnight `not_seen_days` before `on`, at the hospital."""
    return timezone.make_aware(datetime.combine(on - timedelta(days=not_seen_days), time.min))


def standing(devices: Iterable[Device], on: date, not_seen_days: int = NOT_SEEN_DAYS) -> dict[int, Standing]:
    """Where each driver stands, by its id."""
    rows = list(devices)
    required, limit = Required(on), seen_limit(on, not_seen_days)
    seen = Carried.objects.filter(device__in=rows).select_related("version__library").in_bulk(field_name="device_id")
    homes = Place.objects.in_bulk({device.home_id for device in rows})
    return {device.pk: _standing(required.at(homes[device.home_id]), seen.get(device.pk), limit) for device in rows}


def _standing(required: LibraryVersion | None, seen: Carried | None, limit: datetime) -> Standing:
    if seen is None:
        return Standing(state_of(required, None, seen_lately=False), required, None, None)
    state = state_of(required, seen.version, seen_lately=seen.seen_at >= limit)
    return Standing(state, required, seen.version, seen.seen_at)


def counted_devices(person: Person | None = None) -> DeviceQuerySet:
    """Drivers that count: not retired, within the person's places when one is given."""
    rows: DeviceQuerySet = Device.objects.exclude(condition=Condition.RETIRED.value)
    return rows if person is None else rows.within(person)


def coverage(person: Person | None, on: date, not_seen_days: int = NOT_SEEN_DAYS) -> list[Coverage]:
    """The drivers of each home place by state, in the order of the places; everybody's when no person is given."""
    lately = Case(When(carried__seen_at__gte=seen_limit(on, not_seen_days), then=True), default=False)
    rows = counted_devices(person).annotate(lately=lately).values_list("home_id", "carried__version_id", "lately")
    groups: dict[int, list[tuple[int | None, bool, int]]] = {}
    for home, version, seen_lately, number in rows.annotate(number=Count("pk")).order_by():
        groups.setdefault(home, []).append((version, seen_lately, number))
    places = Place.objects.select_related("site").filter(pk__in=groups).order_by("site__name", "path", "name")
    required, known = Required(on), LibraryVersion.objects.in_bulk()
    return [_coverage(place, required.at(place), groups[place.pk], known) for place in places]


def _coverage(
    place: Place,
    required: LibraryVersion | None,
    groups: Iterable[tuple[int | None, bool, int]],
    known: Mapping[int, LibraryVersion],
) -> Coverage:
    counts = dict.fromkeys(State, 0)
    withdrawn = 0
    for version_id, lately, number in groups:
        version = known[version_id] if version_id is not None else None
        counts[state_of(required, version, seen_lately=lately)] += number
        withdrawn += number if version is not None and version.withdrawn_on else 0
    return Coverage(place, required, counts, withdrawn)


def with_library(person: Person) -> DeviceQuerySet:
    """Drivers that count, with what a list shows of them."""
    return counted_devices(person).select_related("carried__version__library", "home__site", "device_type__maker")


def withdrawn(rows: DeviceQuerySet) -> DeviceQuerySet:
    """Of `rows` the drivers last seen with a version that has been withdrawn."""
    return rows.filter(carried__version__withdrawn_on__isnull=False)


def in_state(rows: DeviceQuerySet, state: State, on: date, not_seen_days: int = NOT_SEEN_DAYS) -> DeviceQuerySet:
    """Of `rows` the drivers in one state: those behind a count of `coverage`."""
    required = Required(on)
    homes: dict[int | None, list[int]] = {}
    versions_by_id: dict[int | None, LibraryVersion | None] = {}
    for place in Place.objects.all():
        version = required.at(place)
        key = version.pk if version else None
        homes.setdefault(key, []).append(place.pk)
        versions_by_id[key] = version
    wanted = Q(pk__in=[])
    for key, ids in homes.items():
        wanted |= Q(home_id__in=ids) & _carries(state, versions_by_id[key], seen_limit(on, not_seen_days))
    return rows.filter(wanted)


def _carries(state: State, required: LibraryVersion | None, limit: datetime) -> Q:
    """`state_of`, said as a condition on drivers."""
    if required is None:
        return Q() if state is State.FREE else Q(pk__in=[])
    lately = Q(carried__seen_at__gte=limit)
    reached = Q(
        carried__version__library=required.library_id,
        carried__version__released_on__gte=required.released_on,
        carried__version__withdrawn_on=None,
    )
    return {
        State.CURRENT: lately & reached,
        State.BEHIND: lately & ~reached,
        State.NOT_SEEN: Q(carried__seen_at__lt=limit),
        State.UNKNOWN: Q(carried=None),
        State.FREE: Q(pk__in=[]),
    }[state]


def shares(person: Person, since: date) -> list[tuple[date, float]]:
    """The share of drivers current on each day kept since then, oldest first, within the person's places."""
    places = Place.objects.within(person)
    days = CoverageSnapshot.objects.filter(day__gte=since, place__in=places).order_by("day").values_list("day")
    total_sum = Sum(F("current") + F("behind") + F("unknown") + F("not_seen"))
    counts = days.annotate(now=Sum("current"), of=total_sum)
    return [(day, current / total) for day, current, total in counts if total]
