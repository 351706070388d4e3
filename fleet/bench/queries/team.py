"""Who could do an order: what each has to do already, the training on record, and whether they are there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.db.models import Count, Sum

from fleet.bench.models import Handover, Labour, Order, OrderKind, TrainingTold
from fleet.bench.queries.facts import OPEN
from fleet.bench.queries.turnaround import day_begins
from fleet.core.orders import OrderState
from fleet.core.training import Held
from fleet.people.models import Person
from fleet.people.queries import away_on, bench_people
from fleet.registry.models import DeviceType
from fleet.staff.models import Training
from fleet.staff.queries import held_by, in_words

#: The usual minutes are those of orders finished within so many days (our own choice).
_USUAL_DAYS: Final = 365
TypeAndKind = tuple[int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """Somebody who works on the bench, as the page that gives an order away shows them.

    `orders` they have open, with the `minutes` these usually take, of which `unknown` have no usual time;
    `training` for each type that is to be given away; `away_until` the last day of an absence that goes on.
    """

    person: Person
    orders: int
    minutes: int
    unknown: int
    training: list[tuple[DeviceType, Held]]
    away_until: date | None
    sees: bool

    @property
    def covered(self) -> bool:
        """Whether training in date is on record for every type."""
        return all(held.covers for _, held in self.training)

    @property
    def obstacles(self) -> tuple[bool, bool, bool]:
        """What stands in the way, the weightiest first: it cannot be seen, they are away, no training in date."""
        return not self.sees, self.away_until is not None, not self.covered

    @property
    def warnings(self) -> list[str]:
        """What whoever gave it to them should know, in words."""
        told = [f"{in_words(held)} for {of}" for of, held in self.training if not held.covers]
        return [*told, "away now"] if self.away_until else told


def training_work(kind: OrderKind) -> Training.Work:
    """For which work somebody must have been trained to do an order of a kind."""
    return Training.Work.REPAIR if kind is OrderKind.CORRECTIVE else Training.Work.SERVICE


def candidates(orders: Sequence[Order], reader: Person, today: date) -> list[Candidate]:
    """The reader's colleagues on the bench for these orders: in whose way least stands, then who has least to do."""
    people = list(bench_people(reader).prefetch_related("places"))
    loads = _loads(people, today)
    trained = _trained(orders, people, today)
    away = away_on(today)
    found = [
        Candidate(
            person=each,
            orders=loads[each.pk][0],
            minutes=loads[each.pk][1],
            unknown=loads[each.pk][2],
            training=[(of, held[each.pk]) for of, held in trained],
            away_until=away.get(each.pk),
            sees=all(_sees(each, order) for order in orders),
        )
        for each in people
    ]
    return sorted(found, key=lambda one: (*one.obstacles, one.minutes, one.orders, str(one.person)))


def _loads(people: list[Person], today: date) -> dict[int, tuple[int, int, int]]:
    usual = usual_minutes(today)
    loads = {person.pk: (0, 0, 0) for person in people}
    held = Order.objects.filter(state__in=OPEN, assigned_to__in=people).order_by()
    for person, device_type, kind in held.values_list("assigned_to", "device__device_type", "kind"):
        orders, minutes, unknown = loads[person]
        known = usual.get((device_type, kind))
        loads[person] = (orders + 1, minutes + (known or 0), unknown + (known is None))
    return loads


def usual_minutes(today: date) -> dict[TypeAndKind, int]:
    """The mean minutes, waiting aside, of the orders finished in the last year, by type and kind. One query."""
    rows = Labour.objects.filter(
        order__state=OrderState.DONE.value, order__completed_at__gte=day_begins(today - timedelta(days=_USUAL_DAYS))
    ).exclude(activity=Labour.Activity.WAITING)
    grouped = rows.order_by().values_list("order__device__device_type", "order__kind")
    counted = grouped.annotate(total=Sum("minutes"), orders=Count("order", distinct=True))
    return {(device_type, kind): round(total / orders) for device_type, kind, total, orders in counted}


def _trained(orders: Sequence[Order], people: list[Person], today: date) -> list[tuple[DeviceType, dict[int, Held]]]:
    """For each type and kind of work among the orders: how the training of each person stands."""
    wanted = {
        (order.device.device_type_id, training_work(OrderKind(order.kind))): order.device.device_type
        for order in orders
    }
    ids = [person.pk for person in people]
    return [(of, held_by(ids, type_id, work, today)) for (type_id, work), of in wanted.items()]


def _sees(person: Person, order: Order) -> bool:
    paths = (order.device.home.path, order.device.place.path)
    return person.everywhere or any(path.startswith(place.path) for place in person.places.all() for path in paths)


def handover_of(order: Order) -> Handover | None:
    """How an order came to whose it is; None where they took it themselves, or where that was undone."""
    row = order.handovers.select_related("to", "was").first()
    return row if row and row.undone_at is None and row.to_id == order.assigned_to_id else None


def given_to(person: Person) -> dict[int, Handover]:
    """What was given to a person and is theirs and open still, by the id of the order."""
    rows = Handover.objects.filter(
        to=person, undone_at__isnull=True, order__assigned_to=person, order__state__in=OPEN
    ).select_related("order__device")
    return {row.order_id: row for row in rows.order_by("at", "pk")}


def training_told(order: Order) -> list[TrainingTold]:
    """What was told of the training of each who worked on an order, the first first."""
    return list(order.training_told.all())


def training_now(order: Order, today: date) -> Held | None:
    """How the training of whose order it is stands today; None for nobody's."""
    if order.assigned_to_id is None:
        return None
    work = training_work(OrderKind(order.kind))
    return held_by([order.assigned_to_id], order.device.device_type_id, work, today)[order.assigned_to_id]
