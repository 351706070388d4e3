"""When to order a part, and how many: the stock is followed day by day against what the planned work will take.

Day 0 is today. On each day deliveries come first, what has expired goes, then the work of the day takes the first to
expire. An order must arrive before the stock falls under its minimum; it is large enough to keep the stock at the
minimum until the last day looked at, rounded up to whole lots. Our own rule, the usual fixed-minimum one; what is not
planned (repairs) is what the minimum is for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Lot:
    """So many pieces; the last day on which they may be used, counted from today, or None where they do not expire."""

    quantity: int
    last_day: int | None = None


@dataclass(frozen=True, slots=True)
class Supply:
    """How a part is supplied: at least so many in stock, ordered in lots of, days from order to delivery."""

    minimum: int
    lot: int
    lead_days: int


@dataclass(frozen=True, slots=True)
class Reorder:
    """What to order. `by_day` is the last day on which to order, never before today; None: nothing in the days seen.

    `low_on_day` is the first day under the minimum; `lowest` what is left at worst (below 0: lacking) before an order
    of today could arrive; `too_late`: work will lack the part although it is ordered today.
    """

    by_day: int | None
    quantity: int
    low_on_day: int | None
    lowest: int

    @property
    def too_late(self) -> bool:
        """Whether parts will lack before an order of today arrives."""
        return self.lowest < 0


def balances(lots: Sequence[Lot], arrivals: Mapping[int, int], takes: Sequence[int]) -> list[int]:
    """What is left at the end of each day; below 0 by what lacks. `arrivals`: pieces by day, taken not to expire."""
    held = sorted(lots, key=lambda lot: (lot.last_day is None, lot.last_day or 0))
    rest = [[lot.quantity, lot.last_day] for lot in held]
    fresh, lacking, found = 0, 0, []
    for day, take in enumerate(takes):
        fresh += arrivals.get(day, 0)
        settled = min(fresh, lacking)
        fresh, lacking = fresh - settled, lacking - settled
        rest = [each for each in rest if each[0] and (each[1] is None or each[1] >= day)]
        for each in rest:
            used = min(each[0] or 0, take)
            each[0], take = (each[0] or 0) - used, take - used  # noqa: PLW2901 - what the day still needs
        used = min(fresh, take)
        fresh, lacking = fresh - used, lacking + take - used
        found.append(sum(each[0] or 0 for each in rest) + fresh - lacking)
    return found


def reorder(lots: Sequence[Lot], arrivals: Mapping[int, int], takes: Sequence[int], supply: Supply) -> Reorder:
    """What to order, looking as many days ahead as `takes` has (at least the lead time and a day)."""
    left = balances(lots, arrivals, takes)
    lowest = min(left[: supply.lead_days + 1])
    low = next((day for day, count in enumerate(left) if count < supply.minimum), None)
    if low is None:
        return Reorder(None, 0, None, lowest)
    arrives = max(low, supply.lead_days)
    needed = supply.minimum - min(left[min(arrives, len(left) - 1) :])
    if needed <= 0:
        # Under the minimum for a while, and back above it by what is on order already.
        return Reorder(None, 0, low, lowest)
    return Reorder(max(0, low - supply.lead_days), -(-needed // supply.lot) * supply.lot, low, lowest)
