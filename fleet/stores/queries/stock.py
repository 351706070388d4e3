"""Reading the stock: what lies where, what is taken first, and what a count goes through."""

from collections.abc import Sequence
from datetime import date

from django.db.models import Exists, F, OuterRef, Q

from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.stores.models import Part, Stock, StockQuerySet
from fleet.stores.queries.parts import usable

#: New before reused, of both the first to expire, then the one that has lain longest.
_OLDEST = (F("saved_from").asc(nulls_first=True), F("expires_on").asc(nulls_last=True), "pk")


def stocks() -> StockQuerySet:
    """All stock with its part and place."""
    rows: StockQuerySet = Stock.objects.select_related("shelf__part", "shelf__place__site", "saved_from")
    return rows


def stocks_of(part: Part) -> StockQuerySet:
    """What lies of a part, by place, the first to expire first; also what has expired, not what is used up."""
    return stocks().filter(shelf__part=part, quantity__gt=0).order_by("shelf__place__name", *_OLDEST)


def oldest_first(part: Part, places: Sequence[Place], on: date) -> StockQuerySet:
    """What may be taken of a part at the places, in the order in which it should be."""
    rows = stocks().filter(usable(on), shelf__part=part, shelf__place__in=places, quantity__gt=0)
    return rows.order_by(*_OLDEST)


def places_with_parts() -> PlacedQuerySet[Place]:
    """The benches and stores in use."""
    return open_places(Place.Kind.BENCH, Place.Kind.STORE)


def countable(place: Place) -> StockQuerySet:
    """What a count of a place goes through: all that lies there by record, and each part's last stock used up.

    A part whose stock is none may lie there none the less; one line for it is enough.
    """
    later = Stock.objects.filter(shelf=OuterRef("shelf")).filter(Q(quantity__gt=0) | Q(pk__gt=OuterRef("pk")))
    lies = Q(quantity__gt=0) | ~Exists(later)
    rows = stocks().filter(lies, shelf__place=place, shelf__part__dropped_on__isnull=True)
    return rows.order_by("shelf__bin", "shelf__part__name", *_OLDEST)
