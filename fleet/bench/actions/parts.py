"""The parts of an order: issued from stock one by one or as a whole kit, named in words, taken back unused."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from decimal import Decimal

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench.actions.holding import put, unfinished
from fleet.bench.models import KitLine, Order, PackFitted, PartUse, Procedure
from fleet.bench.queries import issue_places, kit_wanted, open_quarantine
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.stores import actions as stores
from fleet.stores.models import Movement, Stock
from fleet.stores.models import Part as StorePart
from fleet.web import clock

_FREE = Decimal(0)
_BATCH = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part that went into a driver and is in no store; `price` is for one, in the hospital's currency."""

    name: str
    part_number: str = ""
    batch: str = ""
    quantity: int = 1
    price: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Issued:
    """What a kit brought: the parts now on the order, and in words what the stores could not give."""

    uses: tuple[PartUse, ...]
    lacking: tuple[str, ...]


@transaction.atomic
def add_part(order: Order, part: Part, *, by: Actor) -> PartUse:
    """Record a part used that the stores do not keep. Refused under quarantine: nothing may be changed then."""
    row = _open_to_parts(order, by)
    if not part.name.strip():
        raise BadValueError("Name the part.", field="name")
    if part.quantity < 1:
        raise BadValueError(f"{part.quantity} of a part cannot be used; give 1 or more.", field="quantity")
    if part.price is not None and part.price < 0:
        raise BadValueError("A price is not below zero.", field="price")
    told = asdict(part)
    use = PartUse.objects.create(order=row, entered_at=clock.now(), **told)
    put(row, "added part", by=by, told={name: str(value) for name, value in told.items() if value not in ("", None)})
    return use


@transaction.atomic
def issue_part(
    order: Order, part: StorePart, quantity: int = 1, *, by: Actor, stock: Stock | None = None
) -> list[PartUse]:
    """Take so many of a part from the order's bench, else its site's stores, the first to expire first.

    `stock`: from just this batch. Raises BadValueError where the part does not fit the driver's type or too few lie
    there, MoveRefusedError where nothing may be added.
    """
    row = _open_to_parts(order, by)
    _ask_fit(row, part)
    uses = _issue(row, part, quantity, by, stock)
    put(row, "issued part", by=by, told={"part": str(part), "quantity": quantity})
    return uses


@transaction.atomic
def issue_kit(order: Order, *, by: Actor) -> Issued:
    """Take what the order's procedure normally needs and the order does not have yet, as far as the stores have it."""
    row = _open_to_parts(order, by)
    wanted = kit_wanted(row)
    if not wanted:
        raise MoveRefusedError("There is nothing left to issue of its kit: it has none, or all of it is on the order.")
    uses: list[PartUse] = []
    lacking = []
    for part, quantity in wanted:
        try:
            with transaction.atomic():
                uses += _issue(row, part, quantity, by)
        except BadValueError:
            lacking.append(f"{quantity} of {part}")
    if not uses:
        raise BadValueError(f"Nothing of the kit can be issued here; lacking: {', '.join(lacking)}.")
    put(row, "issued kit", by=by, told={"parts": [str(use) for use in uses], "lacking": lacking})
    return Issued(tuple(uses), tuple(lacking))


@transaction.atomic
def take_back(use: PartUse, quantity: int, *, by: Actor) -> PartUse:
    """Take back what was not used; a part from stock lies there again."""
    order = unfinished(use.order, by)
    row = PartUse.objects.select_for_update(of=("self",)).get(pk=use.pk)
    if not 1 <= quantity <= row.used:
        raise BadValueError(f"{row.used} of it are on the order; take back from 1 to all of them.", field="quantity")
    if row.stock is not None:
        stores.give_back(row.stock, quantity, by=by, reference=order.number)
    change(row, returned=row.returned + quantity)
    put(order, "took back part", by=by, told={"part": row.name, "quantity": quantity})
    return row


@transaction.atomic
def set_kit(procedure: Procedure, lines: Mapping[StorePart, int], *, by: Actor) -> list[KitLine]:
    """State which parts a procedure normally takes and how many of each; what is not named leaves the kit."""
    by.must(May.EDIT_REGISTRY)
    if wrong := [part for part, quantity in lines.items() if quantity < 1]:
        raise BadValueError(f"Give 1 or more of {wrong[0]}, or leave it out.", field="quantity")
    held = Procedure.objects.select_for_update().get(pk=procedure.pk)
    standing = {line.part_id: line for line in held.kit.filter(dropped_at__isnull=True)}
    before = {str(line.part): line.quantity for line in held.kit.filter(dropped_at__isnull=True).select_related("part")}
    wanted = {part.pk: quantity for part, quantity in lines.items()}
    for part_id, line in standing.items():
        if wanted.get(part_id) != line.quantity:
            change(line, dropped_at=clock.now())
    KitLine.objects.bulk_create(
        KitLine(procedure=held, part_id=part_id, quantity=quantity)
        for part_id, quantity in wanted.items()
        if part_id not in standing or standing[part_id].quantity != quantity
    )
    after = {str(part): quantity for part, quantity in lines.items()}
    if before != after:
        record(Happening("stated kit", held, before={"kit": before}, after={"kit": after}), by=by)
    return list(held.kit.filter(dropped_at__isnull=True).select_related("part"))


def _open_to_parts(order: Order, by: Actor) -> Order:
    row = unfinished(order, by)
    if open_quarantine(row.device):
        raise MoveRefusedError("No part goes into this driver while a quarantine is open. Keep it as it is.")
    return row


def _ask_fit(order: Order, part: StorePart) -> None:
    fits = list(part.types.all())
    if fits and order.device.device_type not in fits:
        words = ", ".join(str(each) for each in fits)
        raise BadValueError(f"{part} fits {words}; this driver is a {order.device.device_type}.", field="code")


def _issue(order: Order, part: StorePart, quantity: int, by: Actor, stock: Stock | None = None) -> list[PartUse]:
    places = issue_places(order)
    if not places:
        raise MoveRefusedError(f"Receive {order.device} on a bench first: its parts come from there.")
    taken = stores.issue(part, quantity, places, by=by, reference=order.number, stock=stock)
    return [_use(order, part, moved) for moved in taken]


def _use(order: Order, part: StorePart, moved: Movement) -> PartUse:
    return PartUse.objects.create(
        order=order,
        part=part,
        stock=moved.stock,
        name=part.name,
        part_number=part.maker_number or part.number,
        batch=moved.stock.batch,
        quantity=-moved.change,
        price=_FREE if moved.stock.saved_from_id else part.price,
        entered_at=clock.now(),
    )


def book_packs(fitted: Iterable[PackFitted]) -> None:
    """Note what battery packs that were fitted cost. The act that fits them calls this, and tells."""
    PackFitted.objects.bulk_create(fitted, batch_size=_BATCH)
