"""The bench queue: harm first, then how short the driver's pool is, then how long it has waited.

The order is our own reading of what guidance asks of a priority (risk, then whether a back-up is at hand). Keys are
read light, sorted, and only one page of them is read in full: the number of queries never grows with the fleet.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q

from fleet.bench.models import Order, OrderKind
from fleet.bench.queries.facts import HARM, OPEN
from fleet.core.lifecycle import Condition, WaitReason
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import devices
from fleet.tags.models import Tag

NOT_SHORT = 1.0
Pool = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrow:
    """What the queue is narrowed to. `person_id` keeps that person's orders; `unassigned` those that are nobody's."""

    person_id: int | None = None
    unassigned: bool = False
    site_id: int | None = None
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Stock:
    """Clinical drivers of one type that belong to one place: how many there are, retired ones aside, and in service."""

    ready: int
    total: int

    @property
    def share(self) -> float:
        """The part in service; the less, the shorter the pool."""
        return self.ready / self.total if self.total else NOT_SHORT


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place in the queue, light: which driver, with which order if there is one, and what it is sorted by.

    `stock` tells of the clinical drivers of its type at its home; None for other pools.
    """

    device_id: int
    order_id: int | None
    kind: str
    harm: bool
    since: datetime
    stock: Stock | None

    @property
    def rank(self) -> tuple[bool, float, datetime, int]:
        """Smaller comes first."""
        return not self.harm, self.stock.share if self.stock else NOT_SHORT, self.since, self.device_id


@dataclass(frozen=True, slots=True)
class Waiting:
    """One row of the queue page."""

    place: Place
    device: Device
    order: Order | None
    tag: Tag | None

    @property
    def kind(self) -> str:
        """Why it is here, in words."""
        return str(OrderKind(self.place.kind).label)


@dataclass(frozen=True, slots=True)
class _Key:
    device_id: int
    order_id: int | None
    kind: str
    harm: bool
    since: datetime
    pool: Pool | None


_DEVICE_KEYS = ("pk", "home_id", "device_type_id", "pool", "quarantined")


def queue(person: Person, narrow: Narrow | None = None) -> list[Place]:
    """Everything the bench has before it at the person's places, in order; one place for each order or loose driver.

    Counts open orders, and drivers that are out of use or wait for acceptance without one. Four queries.
    """
    wanted = narrow or Narrow()
    keys = _of_orders(person, wanted) + _of_loose_drivers(person, wanted)
    stocks = pool_stocks({key.pool for key in keys if key.pool is not None})
    places = [
        Place(
            device_id=key.device_id,
            order_id=key.order_id,
            kind=key.kind,
            harm=key.harm,
            since=key.since,
            stock=stocks.get(key.pool) if key.pool else None,
        )
        for key in keys
    ]
    return sorted(places, key=lambda place: place.rank)


def rows(places: Sequence[Place]) -> list[Waiting]:
    """Read these places in full, in the order given. Three queries, however many."""
    orders = Order.objects.select_related("assigned_to", "tag").in_bulk(
        [place.order_id for place in places if place.order_id is not None]
    )
    ids = [place.device_id for place in places]
    drivers = devices().in_bulk(ids)
    tags = {tag.device_id: tag for tag in Tag.objects.filter(device__in=ids, cleared_at__isnull=True)}
    return [
        Waiting(
            place,
            drivers[place.device_id],
            orders.get(place.order_id) if place.order_id else None,
            tags.get(place.device_id),
        )
        for place in places
    ]


def pool_stocks(pools: Iterable[Pool]) -> dict[Pool, Stock]:
    """For each (home place, type): its clinical drivers. One query."""
    wanted = set(pools)
    counted = (
        Device.objects.filter(
            pool=Device.Pool.CLINICAL,
            home__in={home for home, _ in wanted},
            device_type__in={device_type for _, device_type in wanted},
        )
        .exclude(condition=Condition.RETIRED.value)
        .order_by()
        .values_list("home_id", "device_type_id")
        .annotate(total=Count("pk"), ready=Count("pk", filter=Q(condition=Condition.IN_SERVICE.value)))
    )
    return {(home, device_type): Stock(ready, total) for home, device_type, total, ready in counted}


def _of_orders(person: Person, narrow: Narrow) -> list[_Key]:
    found = Order.objects.within(person).filter(state__in=OPEN)
    if narrow.person_id is not None:
        found = found.filter(assigned_to=narrow.person_id)
    if narrow.unassigned:
        found = found.filter(assigned_to__isnull=True)
    if narrow.site_id is not None:
        found = found.filter(device__home__site=narrow.site_id)
    if narrow.kind:
        found = found.filter(kind=narrow.kind)
    device_keys = [f"device__{name}" for name in _DEVICE_KEYS]
    light = found.order_by().values_list("pk", "kind", "raised_at", "tag__harm", "tag__opened_at", *device_keys)
    return [
        _Key(
            device,
            pk,
            kind,
            quarantined or harm in HARM,
            min(raised_at, opened_at or raised_at),
            _pool(home, device_type, pool),
        )
        for pk, kind, raised_at, harm, opened_at, device, home, device_type, pool, quarantined in light
    ]


def _of_loose_drivers(person: Person, narrow: Narrow) -> list[_Key]:
    if narrow.person_id is not None:
        return []
    loose = Q(condition=Condition.OUT_OF_USE.value) | Q(
        condition=Condition.WAITING.value, wait_reason=WaitReason.ACCEPTANCE.value
    )
    found = Device.objects.within(person).filter(loose)
    if narrow.site_id is not None:
        found = found.filter(home__site=narrow.site_id)
    with_order = Order.objects.filter(state__in=OPEN).values("device")
    light = list(found.exclude(pk__in=with_order).order_by().values_list("condition", "condition_since", *_DEVICE_KEYS))
    tagged = Tag.objects.within(person).filter(cleared_at__isnull=True)
    tags = {device: (harm, opened) for device, harm, opened in tagged.values_list("device", "harm", "opened_at")}
    keys = [_loose(driver, tags.get(driver[2])) for driver in light]
    return [key for key in keys if narrow.kind in {"", key.kind}]


def _loose(driver: tuple[str, datetime, int, int, int, str, bool], tag: tuple[str, datetime] | None) -> _Key:
    condition, since, device, home, device_type, pool, quarantined = driver
    harm, opened = tag or ("", since)
    kind = OrderKind.PLANNED
    if tag is not None:
        kind = OrderKind.CORRECTIVE
    elif condition == Condition.WAITING.value:
        kind = OrderKind.ACCEPTANCE
    return _Key(device, None, kind.value, quarantined or harm in HARM, opened, _pool(home, device_type, pool))


def _pool(home: int, device_type: int, pool: str) -> Pool | None:
    return (home, device_type) if pool == Device.Pool.CLINICAL else None
