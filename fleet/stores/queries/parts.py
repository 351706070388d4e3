"""Reading the parts: which are kept where, how many can be used, and what a label or code names."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum, When
from django.db.models.functions import Coalesce
from django.urls import Resolver404, resolve

from fleet.core.identifiers import ScanKind, read_any
from fleet.stores.models import Part, Purchase, PurchaseQuerySet, Shelf, ShelfQuerySet, Stock

#: The page of one part, which its label's code leads to.
PART_PAGE = "stores:part"


def usable(on: date) -> Q:
    """The stock that may still be used on a day: not expired; the day of expiry is the last."""
    return Q(expires_on__isnull=True) | Q(expires_on__gte=on)


def parts() -> QuerySet[Part]:
    """All parts with their maker."""
    return Part.objects.select_related("maker")


def shelves(on: date) -> ShelfQuerySet:
    """Where parts are kept: `at_hand` can be used on that day, `expired` cannot, `coming` is on order for the site."""
    held = Stock.objects.filter(shelf=OuterRef("pk"))
    open_ones = Purchase.objects.filter(
        part=OuterRef("part"), place__site=OuterRef("place__site"), closed_on__isnull=True
    )
    outstanding = open_ones.order_by().values("part").annotate(n=Sum(F("quantity") - F("arrived"))).values("n")
    rows: ShelfQuerySet = Shelf.objects.select_related("part__maker", "place__site")
    return rows.annotate(
        at_hand=_total(held.filter(usable(on))),
        expired=_total(held.exclude(usable(on))),
        coming=Coalesce(Subquery(outstanding, output_field=IntegerField()), 0),
    )


def _total(held: QuerySet[Stock]) -> Coalesce:
    summed = held.order_by().values("shelf").annotate(n=Sum("quantity")).values("n")
    return Coalesce(Subquery(summed, output_field=IntegerField()), 0)


def kept(on: date) -> ShelfQuerySet:
    """The shelves of parts that are still kept, those under their minimum first."""
    rows: ShelfQuerySet = shelves(on).filter(part__dropped_on__isnull=True).annotate(short=F("minimum") - F("at_hand"))
    return rows.order_by(Case(When(short__gt=0, then=0), default=1), "part__name", "part__number", "place__name")


def open_purchases() -> PurchaseQuerySet:
    """What is on order and has not all come."""
    rows: PurchaseQuerySet = Purchase.objects.filter(closed_on__isnull=True).select_related("part", "place__site")
    return rows


@dataclass(frozen=True, slots=True)
class Scanned:
    """The part that a code names, with the batch and expiry that a package's code carries."""

    part: Part
    batch: str = ""
    expires_on: date | None = None


def by_label(text: str, year: int) -> Scanned | None:
    """The part that a typed or scanned text names, of those kept: its stock number, the maker's, its label's code.

    A package's code names it where the maker's part number is its device identifier. None for none, or several.
    """
    code = text.strip()
    if not code:
        return None
    if found := _only(Q(number__iexact=code)) or _only(Q(maker_number__iexact=code)):
        return Scanned(found)
    scan = read_any(text, year)
    if scan.kind is ScanKind.LINK:
        part = _by_link(scan.text)
        return Scanned(part) if part else None
    if scan.udi is None:
        return None
    part = _only(Q(maker_number=scan.udi.di))
    return Scanned(part, scan.udi.lot, scan.udi.expiry) if part else None


def _by_link(path: str) -> Part | None:
    try:
        match = resolve(path)
    except Resolver404:
        return None
    return _only(Q(pk=match.kwargs["pk"])) if match.view_name == PART_PAGE else None


def _only(which: Q) -> Part | None:
    rows = list(parts().filter(which, dropped_on__isnull=True)[:2])
    return rows[0] if len(rows) == 1 else None


def kept_nowhere() -> QuerySet[Part]:
    """The parts that are kept and have no shelf yet."""
    return parts().filter(~Exists(Shelf.objects.filter(part=OuterRef("pk"))), dropped_on__isnull=True)
