"""The parts of the two benches: a dozen kinds, kits of services and repairs, and what came and went of late."""

from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import Final, NamedTuple

from django.db.models import Q

from fleet.audit.actors import Actor
from fleet.bench.actions import Part, add_part, issue_kit, issue_part, set_kit, set_rate
from fleet.bench.models import Order, Procedure
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import Condition
from fleet.management.demo.diary import local
from fleet.management.demo.hospital import BY
from fleet.management.demo.world import World
from fleet.registry.models import Device, Place
from fleet.stores import actions as stores
from fleet.stores.models import Part as StorePart
from fleet.stores.models import Stock
from fleet.stores.queries import countable, kept
from fleet.web import clock

#: The stores open this many days before the end; before that, parts are on the orders in words only.
OPEN_DAYS: Final = 120
_RESTOCKED: Final = (90, 61)
_EXPIRES: Final = 24 * 30
_PLACES: Final = ("mg-bench", "mg-store", "cv-bench", "cv-store")


class _Kept(NamedTuple):
    """A part: its numbers, name and price, how it is ordered, and how many a bench and a store hold at least."""

    number: str
    maker_number: str
    name: str
    price: str
    lot: int
    lead: int
    bench: int
    store: int
    expires: bool = False


_PARTS: Final = (
    _Kept("PT-101", "TI-0901", "Seal set for the case", "3.80", 20, 21, 6, 20, expires=True),
    _Kept("PT-102", "TI-0902", "Clamp pad", "1.20", 25, 10, 6, 25),
    _Kept("PT-103", "TI-0903", "Fuse, 0.5 A slow", "0.45", 50, 7, 5, 20),
    _Kept("PT-104", "TI-0150", "Clamp knob", "6.20", 5, 14, 2, 4),
    _Kept("PT-201", "TI-1001", "Case, front half", "96.00", 1, 28, 1, 2),
    _Kept("PT-202", "TI-1002", "Case, rear half", "88.00", 1, 28, 0, 1),
    _Kept("PT-203", "TI-3127", "Keypad", "58.00", 2, 21, 1, 2),
    _Kept("PT-301", "TI-2203", "Holder with size sensor", "74.00", 2, 28, 1, 2),
    _Kept("PT-302", "TI-2250", "Half nut", "41.00", 2, 21, 1, 2),
    _Kept("PT-303", "TI-2260", "Lead screw", "63.00", 1, 35, 0, 1),
    _Kept("PT-401", "TI-4410", "Mains inlet", "18.50", 5, 14, 1, 3),
    _Kept("PT-402", "TI-4420", "Power lead", "11.90", 10, 7, 2, 6),
)
_KITS: Final = {"service": {"TI-0901": 1, "TI-0902": 1}, "repair-check-out": {"TI-0901": 1}}


def plan_parts(world: World) -> None:
    """State what an hour costs, and plan the opening of the stores and what happens in them."""
    end = clock.local_day(world.diary.end)
    set_rate(Decimal("48.00"), clock.today(), source="invented for the demo", by=BY)
    set_rate(Decimal("52.50"), date(end.year, 1, 1), source="invented for the demo", by=BY)
    world.diary.plan(local(end - timedelta(days=OPEN_DAYS), 7), partial(_open, world))
    for days in _RESTOCKED:
        world.diary.plan(local(end - timedelta(days=days), 8), partial(_restock, world))
    world.diary.plan(local(end - timedelta(days=12), 15), partial(_count, world))
    world.diary.plan(local(end - timedelta(days=5), 10), partial(_order_late, world))
    world.diary.plan(local(end - timedelta(days=2), 10), partial(_save, world))


def _open(world: World) -> None:
    """Add the parts, their shelves and kits, and a first stock; one batch of seals will expire before it is used."""
    soon = clock.today() + timedelta(days=OPEN_DAYS - 3)
    for kept_part in _PARTS:
        facts = {
            "number": kept_part.number,
            "maker_number": kept_part.maker_number,
            "name": kept_part.name,
            "maker": world.hospital.parties["tarnwick"],
            "price": Decimal(kept_part.price),
            "reorder_quantity": kept_part.lot,
            "lead_days": kept_part.lead,
            "keeps_batch": kept_part.expires,
            "keeps_expiry": kept_part.expires,
        }
        world.parts[kept_part.maker_number] = stores.add_part(facts, by=BY)
    for code in _PLACES:
        _fill(world, world.hospital.places[code])
    seals, store = world.parts["TI-0901"], world.hospital.places["cv-store"]
    _receive(world, store, [stores.Delivered(part=seals, quantity=4, batch="S-OLD-3", expires_on=soon)], "DN-1000")
    for code, lines in _KITS.items():
        kit = {world.parts[number]: many for number, many in lines.items()}
        set_kit(Procedure.objects.get(code=code), kit, by=BY)


def _fill(world: World, place: Place) -> None:
    lines = []
    for number, each in enumerate(_PARTS):
        minimum = each.bench if place.kind == Place.Kind.BENCH else each.store
        part = world.parts[each.maker_number]
        stores.keep_at(part, place, minimum=minimum, bin_=f"{'ABCD'[number // 4]}{number % 4 + 1}", by=BY)
        if minimum:
            lines.append(_delivered(part, minimum, "S-4417"))
    _receive(world, place, lines, "DN-1001")


def _delivered(part: StorePart, quantity: int, batch: str) -> stores.Delivered:
    if not part.keeps_expiry:
        return stores.Delivered(part=part, quantity=quantity)
    expires = clock.today() + timedelta(days=_EXPIRES)
    return stores.Delivered(part=part, quantity=quantity, batch=batch, expires_on=expires)


def _receive(world: World, place: Place, lines: list[stores.Delivered], reference: str) -> None:
    stores.receive(place, lines, reference=reference, by=world.crew.storekeeper)


def _restock(world: World) -> None:
    """A delivery to each store of what is short there."""
    for code in _PLACES:
        short = kept(clock.today()).filter(place=world.hospital.places[code])
        batch = f"S-{4400 + clock.today().month}"
        lines = [_delivered(shelf.part, shelf.part.reorder_quantity, batch) for shelf in short.filter(Q(short__gt=0))]
        if lines:
            _receive(world, world.hospital.places[code], lines, f"DN-{clock.today():%m%d}")


def _count(world: World) -> None:
    """The store is counted; one clamp pad is missing, and nobody knows why."""
    rows = list(countable(world.hospital.places["mg-store"]))
    found = [
        stores.Found(stock=row, expected=row.quantity, quantity=row.quantity - (row.shelf.part.number == "PT-102"))
        for row in rows
        if row.quantity
    ]
    stores.count(found, "Yearly count; nobody knows where it went", by=world.crew.storekeeper)


def _order_late(world: World) -> None:
    """Keypads are on order, and should have come yesterday."""
    part, place = world.parts["TI-3127"], world.hospital.places["mg-store"]
    day = clock.local_day(world.diary.end) - timedelta(days=1)
    stores.mark_ordered(part, place, 4, day, reference="PO-2218", by=world.crew.storekeeper)


def _save(world: World) -> None:
    """Half a case is saved from a driver retired of late."""
    retired = Device.objects.filter(condition=Condition.RETIRED).order_by("-retired_on", "pk").first()
    if retired is not None:
        part = world.parts["TI-1002"]
        stores.save_part(part, world.hospital.places["mg-bench"], retired, 1, by=world.crew.technicians[0])


def use_part(world: World, order: Order, named: Part, *, by: Actor) -> None:
    """Put a part on an order: from stock where the stores keep it and have it, else in words."""
    part = world.parts.get(named.part_number)
    if part is None or not _at_hand(part):
        add_part(order, named, by=by)
        return
    try:
        issue_part(order, part, by=by)
    except BenchwardError:
        # It lies at the other site only.
        add_part(order, named, by=by)


def use_kit(world: World, order: Order, *, by: Actor) -> None:
    """Issue the kit of an order's procedure, as far as the stores have it."""
    if not world.parts:
        return
    try:
        issue_kit(order, by=by)
    except BenchwardError:
        # None of it lies at this site; the technician goes without.
        return


def _at_hand(part: StorePart) -> bool:
    return Stock.objects.filter(shelf__part=part, quantity__gt=0).exists()
