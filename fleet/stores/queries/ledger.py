"""Reading the ledger of a part: each movement with what lay there after it, and the stock day by day for the plot."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet, Sum
from django.db.models.functions import TruncDate

from fleet.people.models import Person
from fleet.people.scope import place_paths
from fleet.stores.models import Movement, Part, Stock


@dataclass(frozen=True, slots=True)
class Line:
    """What lay in stock at the end of a day."""

    on: date
    quantity: int


def ledger(part: Part, person: Person) -> QuerySet[Movement]:
    """Every movement of a part at the person's places, the last first."""
    return _movements(part, person).select_related("stock__shelf__place__site", "stock__saved_from").order_by("-pk")


def _movements(part: Part, person: Person) -> QuerySet[Movement]:
    rows = Movement.objects.filter(stock__shelf__part=part)
    if place_paths(person) is None:
        return rows
    return rows.filter(stock__in=Stock.objects.within(person).filter(shelf__part=part))


def stock_history(part: Part, person: Person, since: date, until: date) -> list[Line]:
    """What lay of a part at the person's places: at the start, and at the end of each day on which it changed.

    Worked out backwards from what lies there now, so that the length of the ledger before `since` costs nothing.
    """
    changes = _movements(part, person).filter(done_at__date__gte=since).order_by()
    by_day = dict(changes.annotate(on=TruncDate("done_at")).values_list("on").annotate(n=Sum("change")))
    held = Stock.objects.within(person).filter(shelf__part=part).aggregate(n=Sum("quantity"))["n"] or 0
    return _back_from(held, sorted(by_day.items()), since, until)


def _back_from(held: int, changes: Sequence[tuple[date, int]], since: date, until: date) -> list[Line]:
    lines = [Line(until, held)]
    for on, change in reversed(changes):
        lines.append(Line(on, held))
        held -= change
    lines.append(Line(since - timedelta(days=1), held))
    return lines[::-1]


def ledger_faults() -> Iterator[tuple[str, str]]:
    """Where a stock's ledger does not add up to its balances, or its balance is not that of its last movement."""
    balance: dict[int, int] = {}
    moves = Movement.objects.order_by("pk").values_list("pk", "stock_id", "change", "balance")
    for move, stock, change, after in moves.iterator(chunk_size=2000):
        if balance.get(stock, 0) + change != after:
            words = f"movement {move}: {balance.get(stock, 0)} {change:+d} does not leave {after}"
            yield str(Stock.objects.get(pk=stock)), words
        balance[stock] = after
    for row in Stock.objects.select_related("shelf__part", "shelf__place", "saved_from").iterator(chunk_size=2000):
        if row.quantity != balance.get(row.pk, 0):
            yield str(row), f"holds {row.quantity}, its ledger leaves {balance.get(row.pk, 0)}"
