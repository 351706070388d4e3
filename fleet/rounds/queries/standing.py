"""How rounds stand: who is still to be found, who was met and what came of it."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from django.db.models import Count, Q, QuerySet

from fleet.core.usage import IDLE_FIRST
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet, Place
from fleet.registry.queries import devices, open_places
from fleet.rounds.models import Round, RoundQuerySet, RoundStop
from fleet.rounds.queries.carrying import Carry, carry
from fleet.rounds.queries.due import ToDo, drivers_at, missing_at, to_do
from fleet.rounds.queries.use import Sign, signs

#: Answers that settle a driver for this round, whatever is still due on it.
_SETTLES: Final = (
    RoundStop.What.TAKEN.value,
    RoundStop.What.IN_USE.value,
    RoundStop.What.REFUSED.value,
    RoundStop.What.NOT_FOUND.value,
)


@dataclass(frozen=True, slots=True)
class Met:
    """A driver met or looked for: the answer that counts, and what is due on it still."""

    stop: RoundStop
    todo: ToDo

    @property
    def settled(self) -> bool:
        """Whether nothing more is to be done about it on this round."""
        return self.stop.what in _SETTLES or not self.todo.reasons


@dataclass(frozen=True, slots=True)
class RoundPage:
    """A round as it stands: drivers still to be answered, those met, those missing anyway, what to carry.

    `seen_only`: of `left`, the ids of those that were met and still wait for an answer.
    """

    round: Round
    left: Sequence[ToDo]
    met: Sequence[Met]
    missing: Sequence[Device]
    carry: Carry
    seen_only: frozenset[int]

    @property
    def settled(self) -> list[Met]:
        """The drivers that need no more on this round, the latest answer first."""
        return [each for each in self.met if each.settled]

    @property
    def answered(self) -> int:
        """Drivers of the list that need no more on this round. One with nothing due was never on it."""
        return sum(each.stop.what != RoundStop.What.SEEN for each in self.settled)

    @property
    def uses(self) -> list[tuple[Sign, int]]:
        """How many drivers of the list stand at each kind of use, or out of service, the idle first."""
        counts = Counter((each.sign.use, each.sign.condition) for each in self.left)
        held = sorted(counts, key=lambda each: (IDLE_FIRST[each[0]], each[1]))
        return [(Sign(use, condition=condition), counts[use, condition]) for use, condition in held]

    @property
    def total(self) -> int:
        """Drivers of the list, answered or not."""
        return self.answered + len(self.left)

    @property
    def came_of_it(self) -> list[tuple[str, int]]:
        """How many drivers stand at each answer, in the order of the answers; one only met has none yet."""
        counts = Counter(each.stop.what for each in self.met if each.settled or each.stop.what != RoundStop.What.SEEN)
        return [(str(what.label), counts[what.value]) for what in RoundStop.What if counts[what.value]]

    @property
    def not_found(self) -> list[Device]:
        """The drivers that were looked for in vain."""
        return [each.stop.device for each in self.met if each.stop.what == RoundStop.What.NOT_FOUND]


def rounds(person: Person) -> RoundQuerySet:
    """Rounds of the person's places, newest first, with how many drivers stand at each answer (`seen`, `taken` ...)."""
    counts = {
        what.value: Count("stops", filter=Q(stops__latest=True, stops__what=what.value)) for what in RoundStop.What
    }
    known = Round.objects.within(person).select_related("place__site").annotate(**counts)
    rows: RoundQuerySet = known.order_by("-on", "-pk")
    return rows


def places(person: Person) -> QuerySet[Place]:
    """Where the person can make a round: wards and stores, and whole buildings and sites."""
    return open_places(Place.Kind.WARD, Place.Kind.STORE, Place.Kind.BUILDING, Place.Kind.SITE).within(person)


def wards_of(place: Place) -> QuerySet[Place]:
    """The wards and stores of a round's place, where it has any below it: one of them is where one stands."""
    rows = open_places(Place.Kind.WARD, Place.Kind.STORE).filter(path__startswith=place.path).exclude(pk=place.pk)
    return rows.order_by("name")


def round_page(row: Round) -> RoundPage:
    """Read a round as it stands now. The number of reads does not grow with the drivers."""
    stops = list(row.stops.filter(latest=True).select_related("device__device_type__maker", "device__place"))
    held = {stop.device_id: stop for stop in stops}
    rows = {each.device.pk: each for each in to_do(_looked_at(row), row.on)}
    met = [Met(stop, rows[stop.device_id]) for stop in stops]
    settled = {each.stop.device_id for each in met if each.settled}
    asked = [each for pk, each in rows.items() if each.reasons and pk not in settled]
    known = signs(each.device for each in asked)
    left = [replace(each, sign=known[each.device.pk]) for each in asked]
    missing = [device for device in missing_at(row.place) if device.pk not in held]
    return RoundPage(row, left, met, missing, carry(left, row.on), frozenset(held) - settled)


def _looked_at(row: Round) -> DeviceQuerySet:
    """The drivers to look for here, and those met, wherever they are on record by now."""
    met = Q(pk__in=row.stops.filter(latest=True).values("device"))
    wanted = met | Q(pk__in=drivers_at(row.place).values("pk"))
    return devices().filter(wanted)


def idle_first(rows: Iterable[ToDo]) -> list[ToDo]:
    """The drivers that can be fetched first, those in use last; else as they stand."""
    return sorted(rows, key=lambda each: IDLE_FIRST[each.sign.use])


def latest_stop(row: Round, device: Device) -> RoundStop | None:
    """The answer that counts for a driver on a round; None while it was not met."""
    return row.stops.filter(device=device, latest=True).first()
