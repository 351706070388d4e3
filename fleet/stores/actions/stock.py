"""The writers of stock: each act locks the stock, writes one line of its ledger and the new balance together.

Issuing and giving back leave no trail of their own: the order that takes or gives tells it. The rest does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.registry.models import Device, Place
from fleet.stores.actions.purchases import arrive
from fleet.stores.models import Movement, Part, Shelf, Stock
from fleet.stores.queries import oldest_first
from fleet.web import clock
from fleet.web.phrases import day

Kind = Movement.Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """So many of a part, of one batch and expiry."""

    part: Part
    quantity: int
    batch: str = ""
    expires_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a count found of a stock; `expected` is what the sheet said, so that what moved meanwhile is kept."""

    stock: Stock
    quantity: int
    expected: int


@transaction.atomic
def receive(place: Place, lines: Sequence[Delivered], *, by: Actor, reference: str = "") -> list[Movement]:
    """Take a delivery in at a bench or store, all lines or none; what is on order for its site counts as come.

    A part not yet kept there gets a shelf without a minimum. Raises BadValueError naming the field of a line.
    """
    by.must(May.KEEP_STORE)
    if not lines:
        raise BadValueError("Nothing is delivered: give at least one part.", field="part")
    return [_receive(place, line, by, reference.strip()) for line in lines]


def _receive(place: Place, line: Delivered, by: Actor, reference: str) -> Movement:
    _ask_facts(line)
    stock = _stock(_shelf(line.part, place), line.batch.strip(), line.expires_on)
    moved = _put(stock, Kind.RECEIVED, line.quantity, by, reference=reference)
    arrive(line.part, place, line.quantity, by=by)
    _tell("received stock", moved, by)
    return moved


def _ask_facts(line: Delivered) -> None:
    part = line.part
    if line.quantity < 1:
        raise BadValueError(f"{line.quantity} of {part} cannot come; give 1 or more.", field="quantity")
    if part.keeps_batch and not line.batch.strip():
        raise BadValueError(f"The batch of {part} is recorded: read it off the package.", field="batch")
    if part.keeps_expiry and line.expires_on is None:
        raise BadValueError(f"{part} expires: give the day on the package.", field="expires_on")
    if line.expires_on is not None and line.expires_on < clock.today():
        raise BadValueError(f"This expired on {day(line.expires_on)}; send it back.", field="expires_on")


@transaction.atomic
def save_part(part: Part, place: Place, device: Device, quantity: int, *, by: Actor) -> Movement:
    """Take a part saved from a retired driver into stock, marked as reused. One that expires is not reused."""
    by.must(May.WORK_ON_BENCH)
    if device.condition != Condition.RETIRED:
        raise MoveRefusedError(f"{device} is not retired; parts are saved only from a retired driver.")
    if quantity < 1:
        raise BadValueError(f"{quantity} cannot be saved; give 1 or more.", field="quantity")
    if part.keeps_expiry:
        raise BadValueError(f"{part} expires, so it is not reused. Scrap it.", field="part")
    moved = _put(_stock(_shelf(part, place), "", None, device), Kind.RECEIVED, quantity, by)
    _tell("saved part", moved, by, device_id=device.pk)
    return moved


@transaction.atomic
def issue(  # noqa: PLR0913 - what, how many, from where, for what
    part: Part, quantity: int, places: Sequence[Place], *, by: Actor, reference: str, stock: Stock | None = None
) -> list[Movement]:
    """Take so many of a part from the places, in their order and of each the oldest expiry first; or from one `stock`.

    All or none. An expired batch is never taken: `stock` that has expired is refused. Raises BadValueError naming how
    many there are.
    """
    by.must(May.WORK_ON_BENCH)
    if quantity < 1:
        raise BadValueError(f"{quantity} of a part cannot be issued; give 1 or more.", field="quantity")
    rows = _offered(part, places, stock)
    at_hand = sum(row.quantity for row in rows)
    if at_hand < quantity:
        where = " or ".join(str(place) for place in places) or "this shelf"
        raise BadValueError(
            f"Only {at_hand} of {part} can be used at {where}. Issue fewer, bring some from another store, or set the "
            "order aside to wait for parts.",
            field="quantity",
        )
    taken = []
    for row in rows:
        if (take := min(quantity, row.quantity)) > 0:
            taken.append(_put(row, Kind.ISSUED, -take, by, reference=reference))
            quantity -= take
    return taken


def _offered(part: Part, places: Sequence[Place], stock: Stock | None) -> list[Stock]:
    """What may be taken, locked, in the order of taking."""
    today = clock.today()
    if stock is not None:
        row = _hold(stock)
        if row.expires_on is not None and row.expires_on < today:
            raise BadValueError(f"{row} expired on {day(row.expires_on)}. Scrap it and take another.", field="stock")
        return [row]
    # Locked in the order of their keys, so that two who take the same parts never wait for each other.
    keys = list(oldest_first(part, places, today).values_list("pk", flat=True))
    list(Stock.objects.select_for_update().filter(pk__in=keys).order_by("pk"))
    rank = {place.pk: number for number, place in enumerate(places)}
    return sorted(oldest_first(part, places, today).filter(pk__in=keys), key=lambda row: rank[row.shelf.place_id])


@transaction.atomic
def give_back(stock: Stock, quantity: int, *, by: Actor, reference: str) -> Movement:
    """Put so many back where they were taken from. How many an order still holds is asked by the order."""
    by.must(May.WORK_ON_BENCH)
    if quantity < 1:
        raise BadValueError(f"{quantity} cannot be given back; give 1 or more.", field="quantity")
    return _put(_hold(stock), Kind.RETURNED, quantity, by, reference=reference)


@transaction.atomic
def move(stock: Stock, place: Place, quantity: int, *, by: Actor) -> Movement:
    """Bring so many of a stock to another bench or store; batch, expiry and origin go along."""
    by.must(May.KEEP_STORE)
    if quantity < 1:
        raise BadValueError(f"{quantity} cannot be moved; give 1 or more.", field="quantity")
    if place.pk == stock.shelf.place_id:
        raise BadValueError(f"It lies at {place} already. Choose another place.", field="place")
    shelf = _shelf(stock.shelf.part, place)
    target = _stock(shelf, stock.batch, stock.expires_on, stock.saved_from)
    held = {
        row.pk: row for row in Stock.objects.select_for_update().filter(pk__in=[stock.pk, target.pk]).order_by("pk")
    }
    source = held[stock.pk]
    if source.quantity < quantity:
        raise BadValueError(f"Only {source.quantity} lie there. Move fewer, or count the shelf.", field="quantity")
    _put(source, Kind.MOVED_OUT, -quantity, by, why=f"To {place}, {place.site}")
    moved = _put(
        held[target.pk], Kind.MOVED_IN, quantity, by, why=f"From {stock.shelf.place}, {stock.shelf.place.site}"
    )
    _tell("moved stock", moved, by, why=moved.why)
    return moved


@transaction.atomic
def scrap(stock: Stock, quantity: int, why: str, *, by: Actor) -> Movement:
    """Take so many out of stock for good, with the reason."""
    by.must(May.KEEP_STORE)
    row = _hold(stock)
    if not 1 <= quantity <= row.quantity:
        raise BadValueError(f"{row.quantity} lie there; scrap from 1 to all of them.", field="quantity")
    if not why.strip():
        raise BadValueError("Say why it is scrapped.", field="why")
    moved = _put(row, Kind.SCRAPPED, -quantity, by, why=why.strip())
    _tell("scrapped stock", moved, by, why=why.strip())
    return moved


@transaction.atomic
def count(found: Sequence[Found], why: str, *, by: Actor) -> list[Movement]:
    """Enter a count: each difference from what the sheet expected corrects its stock, with the reason; all or none.

    What came or went between sheet and entry stays counted, since the difference is corrected and not the balance set.
    A stock found as expected gets a line that says so.
    """
    by.must(May.KEEP_STORE)
    rows = _held_for_count(found)
    if any(each.quantity != each.expected for each in found) and not why.strip():
        raise BadValueError("The count differs: say why, or that nobody knows.", field="why")
    moved = [_correct(rows[each.stock.pk], each, why.strip(), by) for each in found]
    record_many(_happenings("counted stock", moved), by=by)
    return moved


def _held_for_count(found: Sequence[Found]) -> dict[int, Stock]:
    rows = Stock.objects.select_for_update().filter(pk__in=[each.stock.pk for each in found]).order_by("pk")
    return {row.pk: row for row in rows}


def _correct(row: Stock, found: Found, why: str, by: Actor) -> Movement:
    if found.quantity < 0:
        raise BadValueError(f"{found.quantity} of {row} cannot lie there.", field="quantity")
    difference = found.quantity - found.expected
    if row.quantity + difference < 0:
        raise MoveRefusedError(f"{row} was used meanwhile; {row.quantity} are left on record. Count it again.")
    return _put(row, Kind.COUNTED, difference, by, why=why if difference else "")


def _shelf(part: Part, place: Place) -> Shelf:
    """The locked shelf of a part at a place, made where there is none."""
    if part.dropped_on is not None:
        raise MoveRefusedError(f"{part} is kept no more; take it up again as a new part if it is needed.")
    if place.kind not in {Place.Kind.BENCH, Place.Kind.STORE} or place.closed_on is not None:
        raise BadValueError(f"Parts are kept at a bench or store in use; {place} is none.", field="place")
    Part.objects.select_for_update().get(pk=part.pk)
    shelf, _ = Shelf.objects.select_for_update().get_or_create(part=part, place=place)
    return shelf


def _stock(shelf: Shelf, batch: str, expires_on: date | None, saved_from: Device | None = None) -> Stock:
    """The locked stock of a batch on a locked shelf, made where there is none."""
    held = Stock.objects.select_for_update().filter(
        shelf=shelf, batch=batch, expires_on=expires_on, saved_from=saved_from
    )
    return held.first() or Stock.objects.create(shelf=shelf, batch=batch, expires_on=expires_on, saved_from=saved_from)


def _hold(stock: Stock) -> Stock:
    return Stock.objects.select_for_update().get(pk=stock.pk)


def _put(  # noqa: PLR0913 - one line of the ledger
    stock: Stock, kind: Movement.Kind, change: int, by: Actor, *, reference: str = "", why: str = ""
) -> Movement:
    """Change a locked stock and write the line that says so."""
    stock.quantity += change
    stock.save(update_fields=["quantity"])
    return Movement.objects.create(
        stock=stock,
        kind=kind,
        change=change,
        balance=stock.quantity,
        reference=reference[:40],
        why=why[:200],
        done_at=clock.now(),
        by_id=by.person_id,
        by_name=by.name[:120],
    )


def _happenings(verb: str, moved: Sequence[Movement]) -> list[Happening]:
    return [
        Happening(verb, each.stock, after={"change": each.change, "balance": each.balance}, why=each.why)
        for each in moved
    ]


def _tell(verb: str, moved: Movement, by: Actor, *, why: str = "", device_id: int | None = None) -> None:
    after = {"change": moved.change, "balance": moved.balance, "reference": moved.reference}
    record(Happening(verb, moved.stock, device_id=device_id, after=after, why=why), by=by)
