"""The reorder list: parts that the work and the minimum ask for, and packs by the demand of the forecasts, in one."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from fleet.batteries import queries as batteries
from fleet.batteries.models import PackPurchase
from fleet.bench.queries import will_take
from fleet.core.reorder import Lot, Reorder, Supply, reorder
from fleet.people.models import Person
from fleet.registry.models import DeviceType, Place
from fleet.stores.models import Part, Purchase, Shelf
from fleet.stores.queries import open_purchases, stocks
from fleet.stores.queries import shelves as shelves_on
from fleet.web.phrases import day

#: How many days of planned work an order of a part should last beyond its delivery.
COVER_DAYS: Final = 28


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line: what, for where, how many by when, at what cost, and why. `by` is today at the earliest.

    `part` with the `place` it is delivered to, or `pack_type`. `cost` is None where no price is stated.
    """

    number: str
    name: str
    where: str
    quantity: int
    by: date
    expected: date
    cost: Decimal | None
    why: str
    warning: str = ""
    part: Part | None = None
    place: Place | None = None
    pack_type: DeviceType | None = None


@dataclass(frozen=True, slots=True)
class Bring:
    """A shelf under its minimum that another shelf of the same site can fill up."""

    shelf: Shelf
    lacking: int
    spare: Shelf


@dataclass(frozen=True, slots=True)
class ReorderList:
    """All of it: what to order, what only to bring over, and what is on order."""

    lines: list[Line]
    bring: list[Bring]
    purchases: list[Purchase]
    packs: list[PackPurchase]

    @property
    def cost(self) -> Decimal:
        """What the lines with a price cost together."""
        return sum((line.cost for line in self.lines if line.cost is not None), Decimal(0))

    @property
    def unpriced(self) -> int:
        """How many lines have no price."""
        return sum(line.cost is None for line in self.lines)


def reorder_list(person: Person, today: date) -> ReorderList:
    """What to order today and in the coming weeks for the person's places, first what is most pressing."""
    held = list(shelves_on(today).within(person).filter(part__dropped_on__isnull=True))
    purchases = list(open_purchases().within(person))
    lines = [*_parts(person, held, purchases, today), *_packs(today)]
    return ReorderList(
        sorted(lines, key=lambda line: (line.by, line.name)),
        list(_to_bring(held)),
        purchases,
        list(batteries.open_purchases()),
    )


def _parts(person: Person, held: Iterable[Shelf], purchases: list[Purchase], today: date) -> Iterable[Line]:
    by_site: dict[tuple[int, int], list[Shelf]] = {}
    for shelf in held:
        by_site.setdefault((shelf.place.site_id or 0, shelf.part_id), []).append(shelf)
    longest = max((shelf.part.lead_days for rows in by_site.values() for shelf in rows), default=0)
    takes = will_take(person, today, today + timedelta(days=longest + COVER_DAYS))
    lots = _lots(person, today)
    for key, shelves in by_site.items():
        part = shelves[0].part
        coming = [row for row in purchases if (row.place.site_id, row.part_id) == key]
        days = part.lead_days + COVER_DAYS + 1
        wanted = takes.get(key, Counter())
        supply = Supply(sum(shelf.minimum for shelf in shelves), part.reorder_quantity, part.lead_days)
        advice = reorder(
            lots.get(key, []),
            _arrivals(coming, today),
            [wanted.get(today + timedelta(days=number), 0) for number in range(days)],
            supply,
        )
        if advice.by_day is not None:
            why = _why(shelves, supply, sum(row.outstanding for row in coming), wanted, today)
            yield _line(shelves, advice, supply, why, today)


def _lots(person: Person, today: date) -> dict[tuple[int, int], list[Lot]]:
    found: dict[tuple[int, int], list[Lot]] = {}
    for row in stocks().within(person).filter(quantity__gt=0):
        if row.expires_on is None or row.expires_on >= today:
            last = None if row.expires_on is None else (row.expires_on - today).days
            found.setdefault((row.shelf.place.site_id or 0, row.shelf.part_id), []).append(Lot(row.quantity, last))
    return found


def _arrivals(coming: Iterable[Purchase], today: date) -> Counter[int]:
    """What is on order by day; what is overdue is expected tomorrow."""
    found: Counter[int] = Counter()
    for row in coming:
        found[max((row.expected_on - today).days, 1)] += row.outstanding
    return found


def _line(shelves: list[Shelf], advice: Reorder, supply: Supply, why: str, today: date) -> Line:
    part = shelves[0].part
    place = next((shelf.place for shelf in shelves if shelf.place.kind == Place.Kind.STORE), shelves[0].place)
    by = today + timedelta(days=advice.by_day or 0)
    return Line(
        part=part,
        place=place,
        number=part.number,
        name=part.name,
        where=str(place.site),
        quantity=advice.quantity,
        by=by,
        expected=by + timedelta(days=supply.lead_days),
        cost=None if part.price is None else part.price * advice.quantity,
        why=why,
        warning="Work will lack it before a delivery can come" if advice.too_late else "",
    )


def _at_hand(shelves: Iterable[Shelf]) -> int:
    return sum(shelf.at_hand for shelf in shelves)  # type: ignore[attr-defined] # annotated by `shelves`


def _why(shelves: list[Shelf], supply: Supply, coming: int, wanted: Counter[date], today: date) -> str:
    last = today + timedelta(days=supply.lead_days + COVER_DAYS)
    taken = sum(many for on, many in wanted.items() if on <= last)
    more = f", {coming} on order" if coming else ""
    work = f"work until {day(last)} takes {taken}" if taken else f"no planned work until {day(last)} takes any"
    return f"{_at_hand(shelves)} in stock{more}; {work}; at least {supply.minimum}; {supply.lead_days} days to delivery"


def _packs(today: date) -> Iterable[Line]:
    for stand in batteries.stands():
        order = batteries.order_of(stand, today)
        if order is None or order.by is None or not order.advice.quantity:
            continue
        by, price = max(order.by, today), batteries.pack_price(stand.device_type)
        yield Line(
            pack_type=stand.device_type,
            number=stand.device_type.pack_part_number,
            name=f"Battery pack for {stand.device_type}",
            where="All sites",
            quantity=order.advice.quantity,
            by=by,
            expected=by + timedelta(days=stand.supply.lead_days),
            cost=None if price is None else price * order.advice.quantity,
            why=order.sentence,
            warning="It may come too late" if order.warning else "",
        )


def _to_bring(held: Iterable[Shelf]) -> Iterable[Bring]:
    """Shelves under their minimum, each with the fullest shelf of its site that has more than its own minimum."""
    rows = [(shelf, _at_hand([shelf])) for shelf in held]
    for shelf, at_hand in rows:
        lacking = shelf.minimum - at_hand
        others = [
            (here - other.minimum, other)
            for other, here in rows
            if other.part_id == shelf.part_id and other.place.site_id == shelf.place.site_id and here > other.minimum
        ]
        if lacking > 0 and others:
            spare, fullest = max(others, key=lambda each: each[0])
            yield Bring(shelf, min(lacking, spare), fullest)
