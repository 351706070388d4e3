"""When to order packs, and how many, so that the shelf lasts with a stated chance.

Days count from 0, today; an order placed on day j is usable from day j + lead on. With `enough` (D,) the number of
packs that suffices to the end of each day with the chance asked for (the service level), and s (D,) what will have been
on the shelf by then,

* the shelf is short on day d where enough_d > s_d: as needs only rise and the shelf rises with deliveries only, that is
  found at a month's end or just before a delivery, and this tells the day;
* the order is due on day d - lead, d the first short day that an order can still reach;
* it is for the largest shortage from d on until the order after it could be usable, `review_days` later, rounded up
  to the multiple in which packs are sold.

That is the (s, S) rule, its levels being quantiles of the demand over lead time and review period (common practice;
with one period it is the newsvendor's). The chance holds for each day by itself: that the shelf lasts through all of
several months is a little less likely. Within a month `by_day` spreads what suffices evenly (own choice): early in the
first month, where the quantile rises faster than that, it is up to a pack or two too low.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray, first_bad, same_length
from fleet.core.errors import BadValueError

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Supply:
    """Packs at hand and how more are had; whole numbers. Raises BadValueError for a number below its least.

    `arrivals`: the packs on order, each delivery as (day from which it is usable, packs). `lead_days` from order to
    delivery. `multiple`: packs are sold in. `review_days`: an order lasts for so long (own choice: three months; packs
    age unused).
    """

    on_shelf: int
    arrivals: tuple[tuple[int, int], ...] = ()
    lead_days: int = 28
    multiple: int = 1
    review_days: int = 91

    def __post_init__(self) -> None:
        """Check the numbers."""
        least = {"multiple": 1, "review_days": 1}
        held = {name: value for name, value in vars(self).items() if name != "arrivals"}
        numbers = [*held.items(), *(("arrivals", value) for pair in self.arrivals for value in pair)]
        for name, value in numbers:
            if value < least.get(name, 0):
                message = f"{name} is {value}; it must be {least.get(name, 0)} or more."
                raise BadValueError(message, field=name)

    def by_day(self, days: int) -> IntArray:
        """Return how many packs will have been on the shelf by the end of each day (D,), without a new order."""
        held = np.full(days, self.on_shelf, dtype=np.int64)
        for day, packs in self.arrivals:
            held[day:] += packs
        return held


@dataclass(frozen=True)
class StockAdvice:
    """What to order and when. Days count from 0, today; None means not within the horizon.

    `order_on_day`, `quantity`: the next order (0 packs where none is due). `runs_out_on_day`: the first on which the
    shelf is not enough with the chance asked for. `too_late`: that comes before an order placed now is delivered.
    """

    order_on_day: int | None
    quantity: int
    runs_out_on_day: int | None
    too_late: bool


def stock_advice(enough: FloatArray, supply: Supply) -> StockAdvice:
    """Return the advice for packs of one type.

    `enough` (D,): packs that suffice from now to the end of each day with the chance asked for. A lead time or review
    past the last day is taken to it. Raises BadValueError for no days, or numbers that fall.
    """
    if not len(enough):
        message = "enough has no days; it needs one at least."
        raise BadValueError(message, field="enough")
    first_bad(np.diff(enough, prepend=0) < 0, enough, "enough", "a total from now on cannot fall")
    lacking = np.ceil(enough - supply.by_day(len(enough)) - _ROUNDING).astype(np.int64)
    lead = min(supply.lead_days, len(enough) - 1)
    short = lacking > 0
    due, quantity = _first(short[lead:]), 0
    if due is not None:
        most = int(lacking[due + lead : due + lead + supply.review_days].max())
        quantity = -(-most // supply.multiple) * supply.multiple
    return StockAdvice(due, quantity, _first(short), too_late=bool(short[:lead].any()))


def by_day(ends: IntArray, totals: FloatArray | IntArray) -> FloatArray:
    """Return what is needed up to the end of each day (D,), from the totals (M,) up to the ends of months.

    `ends` (M,): days from the start of today to the end of each month, rising from 1 or more; D is the last. Within a
    month the need is spread evenly. Raises BadValueError for other ends and for tables of unequal length.
    """
    same_length(ends=ends, totals=totals)
    first_bad(np.diff(ends, prepend=0) < 1, ends, "ends", "a month ends after the one before it, and after today")
    return np.asarray(np.interp(np.arange(1, ends[-1] + 1), [0, *ends], [0, *totals]))


def enough_for(expected: FloatArray, service_level: float) -> IntArray:
    """Return the counts (D,) that are enough with a chance, of independent packs of which so many (D,) are expected.

    By Poisson's law, which is wider than that of any such count. What packs of one type share is left out.
    """
    return np.asarray(stats.poisson.ppf(service_level, expected), dtype=np.int64)


def total_for(stored: Mapping[str, Sequence[int]], service_level: float) -> IntArray:
    """Return the cumulative numbers (M,) stored for the least chance that is `service_level` or more.

    `stored`: by the chance written as a decimal, "0.95". Raises BadValueError where none is that high.
    """
    high_enough = [chance for chance in stored if float(chance) >= service_level - _ROUNDING]
    if not high_enough:
        message = (
            f"The service level is {service_level}; the demand is kept up to {max(stored, key=float, default='none')}."
        )
        raise BadValueError(message, field="service_level")
    return np.array(stored[min(high_enough, key=float)], dtype=np.int64)


def _first(marks: BoolArray) -> int | None:
    return int(np.argmax(marks)) if marks.any() else None
