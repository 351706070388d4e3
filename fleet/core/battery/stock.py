"""When to order packs, and how many, so that the shelf lasts with a stated chance.

Months count from 0, the one that begins now; an order placed as month j begins is usable from month j + lead on. With
`enough` (M,) the number of packs that suffices to the end of each month with the chance asked for (the service level),
and s (M,) what will have been on the shelf by then,

* the shelf is short in month m where enough_m > s_m;
* the order is due in month m - lead, m the first short month that an order can still reach;
* it is for the largest shortage from m on until the order after it could be usable, `review_months` later, rounded up
  to the multiple in which packs are sold.

That is the (s, S) rule, its levels being quantiles of the demand over lead time and review period (common practice;
with one period it is the newsvendor's). The chance holds for each month by itself: that the shelf lasts through all of
several months is a little less likely.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import BoolArray, IntArray, first_bad
from fleet.core.errors import BadValueError

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Supply:
    """Packs at hand and how more are had; whole numbers. Raises BadValueError for a number below its least.

    `on_order` packs are usable from month `arrives_month` on. `lead_months` from order to delivery, rounded up.
    `multiple`: packs are sold in. `review_months`: an order lasts for so long (own choice: three; packs age unused).
    """

    on_shelf: int
    on_order: int = 0
    arrives_month: int = 0
    lead_months: int = 1
    multiple: int = 1
    review_months: int = 3

    def __post_init__(self) -> None:
        """Check the numbers."""
        least = {"multiple": 1, "review_months": 1}
        for name, value in vars(self).items():
            if value < least.get(name, 0):
                message = f"{name} is {value}; it must be {least.get(name, 0)} or more."
                raise BadValueError(message, field=name)

    def by_month(self, months: int) -> IntArray:
        """Return how many packs will have been on the shelf by the end of each month (M,), without a new order."""
        arrived = np.arange(months) >= self.arrives_month
        return np.asarray(self.on_shelf + self.on_order * arrived, dtype=np.int64)


@dataclass(frozen=True)
class StockAdvice:
    """What to order and when. Months count from 0, this one; None means not within the horizon.

    `order_in_month`, `quantity`: the next order (0 packs where none is due). `runs_out_middle`: month in which the
    shelf is as likely short as not; `runs_out_early`: in which it no longer lasts with the chance asked for.
    `too_late`: that comes before an order placed now is delivered.
    """

    order_in_month: int | None
    quantity: int
    runs_out_middle: int | None
    runs_out_early: int | None
    too_late: bool

    @property
    def order_now(self) -> bool:
        """Tell whether the order is due this month."""
        return self.order_in_month == 0


def stock_advice(enough: IntArray, middle: IntArray, supply: Supply) -> StockAdvice:
    """Return the advice for packs of one type.

    `enough`, `middle` (M,): packs that suffice from now to the end of each month, with the chance asked for and with an
    even chance (`Demand.total_quantiles`). A lead time or review past the last month is taken to it. Raises
    BadValueError for numbers of unequal length, none, or numbers that fall.
    """
    _check(enough, middle)
    months = len(enough)
    shelf = supply.by_month(months)
    lead = min(supply.lead_months, months - 1)
    short = enough > shelf
    reachable = _first(short[lead:])
    due, quantity = None, 0
    if reachable is not None:
        due = reachable
        until = reachable + lead + supply.review_months
        lacking = int((enough - shelf)[reachable + lead : until].max())
        quantity = -(-lacking // supply.multiple) * supply.multiple
    return StockAdvice(due, quantity, _first(middle > shelf), _first(short), too_late=bool(short[:lead].any()))


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


def _check(enough: IntArray, middle: IntArray) -> None:
    if len(enough) != len(middle) or not len(enough):
        message = f"enough has {len(enough)} months and middle {len(middle)}; both need the same, and one at least."
        raise BadValueError(message, field="middle")
    for name, values in (("enough", enough), ("middle", middle)):
        first_bad(np.diff(values, prepend=0) < 0, values, name, "a total from now on cannot fall")


def _first(marks: BoolArray) -> int | None:
    return int(np.argmax(marks)) if marks.any() else None
