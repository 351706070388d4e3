"""What to order of a type, when and why, from the demand of the last night and what lies on the shelf.

Two totals run from now to each month's end: the packs that are expected to fall under their level, whatever is done,
and the replacements that the risk limits ask for before that, with the packs left in that may fall under their level
before their next visit (enough of them by Poisson's law). The order rests at each day on the larger. The second is
known up to each driver's next visit and held level after it, so that the other overtakes it. Days are
counted: within a month the demand is spread evenly, replacements asked for count on the day of their visit, and a
delivery from the day on which it is expected.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fleet.batteries.demand_plot import Delivery, Month, Plot, left_at
from fleet.batteries.policy_wording import packs, service_words, short_month
from fleet.batteries.queries.asked import Asked
from fleet.batteries.queries.fleet import Demand, TypeStand
from fleet.batteries.queries.what_if import number
from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.stock import StockAdvice, Supply, by_day, enough_for, stock_advice
from fleet.core.due import add_months
from fleet.web.phrases import day


@dataclass(frozen=True, slots=True)
class MonthLine:
    """A month's need and what the limits ask for; from now to its end what is expected, what is enough, what is left.

    `enough` at the service level, and for what the limits ask for.
    """

    first: date
    expected: float
    low: float
    middle: float
    high: float
    asked: int
    total: float
    enough: float
    left: float

    @property
    def words(self) -> str:
        """The month."""
        return short_month(self.first)


@dataclass(frozen=True, slots=True)
class Need:
    """Packs of a type from now on: enough at the service level to each day's (D,) and month's end (M,), and expected.

    In each the larger of the demand and of what the limits ask for with the packs left in that may fall under their
    level; `asked` (M,) is what the limits ask for by month.
    """

    asked: IntArray
    daily: FloatArray
    enough: IntArray
    expected: FloatArray


@dataclass(frozen=True, slots=True)
class Order:
    """What to order of a type. `by` is None when nothing need be ordered within the months looked at.

    `lasts_until`: the last day until which the shelf is enough at the service level; None beyond those months.
    """

    stand: TypeStand
    demand: Demand
    need: Need
    advice: StockAdvice
    by: date | None
    lasts_until: date | None
    plot: Plot

    @property
    def now(self) -> bool:
        """Whether to order today."""
        return self.by is not None and self.by <= self.plot.today

    @property
    def waits(self) -> bool:
        """Whether the shelf may be empty before a delivery that is on its way, and no order of today would help."""
        return self.by is None and self.advice.too_late

    @property
    def short(self) -> str:
        """The order in few words, for a table."""
        if self.waits:
            return "On its way, may come late"
        if self.by is None:
            return "Nothing yet"
        return f"{packs(self.advice.quantity)} {'now' if self.now else f'by {day(self.by)}'}"

    @property
    def sentence(self) -> str:
        """The order with its reason."""
        supply, shelf = self.stand.supply, self._shelf()
        sure = service_words(supply.service_level)
        if self.waits:
            return f"No new order: {shelf}. Until then the shelf may not be enough."
        if self.by is None:
            return f"Nothing need be ordered yet: {shelf}, {self._lasts(sure)}."
        order = f"Order {packs(self.advice.quantity)} {'now' if self.now else f'by {day(self.by)}'}"
        wait = "1 day" if supply.lead_days == 1 else f"{supply.lead_days} days"
        return f"{order}: {shelf}, {self._lasts(sure)}; a delivery takes {wait}."

    def _lasts(self, sure: str) -> str:
        if self.lasts_until is None:
            return f"and {sure} that is enough beyond {self._horizon()}"
        if self.lasts_until <= self.plot.today:
            return f"fewer than {short_month(self.plot.months[0].first)} may need"
        return f"and {sure} that lasts until {day(self.lasts_until)}"

    @property
    def lines(self) -> list[MonthLine]:
        """The need month by month."""
        demand, enough, asked = self.demand, self.need.enough.tolist(), self.need.asked.tolist()
        return [
            MonthLine(
                first=month.first,
                expected=demand.expected[row],
                low=month.low,
                middle=month.middle,
                high=month.high,
                asked=asked[row],
                total=demand.total_expected[row],
                enough=enough[row],
                left=left_at(self.plot, month.end),
            )
            for row, month in enumerate(self.plot.months)
        ]

    @property
    def asked(self) -> Asked:
        """What the limits ask for within the months looked at."""
        return self.stand.asked.within(self.demand.months)

    @property
    def asked_until(self) -> str:
        """The month of the last replacement that they ask for."""
        return short_month(self.demand.months[self._last_asked()])

    @property
    def without(self) -> str:
        """What is expected by the end of that month if none of them is made."""
        under, them = number(self.demand.total_expected[self._last_asked()]), "it" if self.asked.total == 1 else "them"
        return f"Without {them} {under} packs are expected to fall under their level by the end of {self.asked_until}."

    @property
    def warning(self) -> str:
        """What to say when even an order placed today comes too late."""
        if not self.advice.too_late:
            return ""
        helps = "Ask the supplier for a quicker delivery, and test first the packs expected to need replacing next."
        if self.waits:
            return f"The shelf may be empty before the delivery comes, and an order of today comes no sooner. {helps}"
        return f"Even an order placed today may come too late: the shelf may be empty before it arrives. {helps}"

    def _last_asked(self) -> int:
        return int(max(np.flatnonzero(self.need.asked), default=0))

    def _shelf(self) -> str:
        count, coming = self.stand.on_shelf, self.plot.deliveries
        lies = "none lies on the shelf" if not count else f"{count} lie{'s' if count == 1 else ''} on the shelf"
        if not coming:
            return lies
        first, *later = coming
        more = f"{first.count} more {'is' if first.count == 1 else 'are'} expected on {day(first.on)}"
        return " and ".join([lies, more, *(f"{each.count} on {day(each.on)}" for each in later)])

    def _horizon(self) -> str:
        return short_month(self.plot.months[-1].first)


def order_of(stand: TypeStand, today: date) -> Order | None:
    """What to order of a type today; None where there is no forecast of its demand."""
    demand = stand.demand.since(today) if stand.demand else None
    if demand is None or not demand.months:
        return None
    need = _need(stand, demand, today)
    advice = stock_advice(need.daily, _supply(stand, today))
    by = None if advice.order_on_day is None else today + timedelta(days=advice.order_on_day)
    return Order(stand, demand, need, advice, by, _lasts_until(advice, today), _plot(stand, demand, need, today))


def _need(stand: TypeStand, demand: Demand, today: date) -> Need:
    ends = np.array([(add_months(first, 1) - today).days for first in demand.months])
    days, level = int(ends[-1]), stand.supply.service_level
    asked, left_in = stand.asked.by_day(today, days), stand.asked.left_in_by_day(today, days)
    daily = np.maximum(by_day(ends, demand.total(level)), asked + enough_for(left_in, level))
    return Need(
        asked=stand.asked.by_month(demand.months),
        daily=daily,
        enough=np.rint(daily[ends - 1]).astype(np.int64),
        expected=np.maximum(demand.total_expected, (asked + left_in)[ends - 1]),
    )


def _supply(stand: TypeStand, today: date) -> Supply:
    kept = stand.supply
    return Supply(
        on_shelf=stand.on_shelf,
        arrivals=tuple(((delivery.on - today).days, delivery.count) for delivery in _deliveries(stand, today)),
        lead_days=kept.lead_days,
        multiple=kept.multiple,
    )


def _lasts_until(advice: StockAdvice, today: date) -> date | None:
    """The day before the one on which the shelf may run short; today where that is today."""
    if advice.runs_out_on_day is None:
        return None
    return today + timedelta(days=max(advice.runs_out_on_day - 1, 0))


def _plot(stand: TypeStand, demand: Demand, need: Need, today: date) -> Plot:
    columns = zip(demand.months, demand.low, demand.middle, demand.high, strict=True)
    return Plot(
        key=f"demand-{stand.device_type.pk}",
        name=str(stand.device_type),
        today=today,
        months=[Month(*column) for column in columns],
        asked=need.asked.tolist(),
        needed=need.expected.tolist(),
        on_shelf=stand.on_shelf,
        deliveries=_deliveries(stand, today),
    )


def _deliveries(stand: TypeStand, today: date) -> list[Delivery]:
    """What is on order by day, the first first; what is overdue is expected today."""
    by_day: Counter[date] = Counter()
    for row in stand.purchases:
        by_day[max(row.expected_on, today)] += row.outstanding
    return [Delivery(on, count) for on, count in sorted(by_day.items())]
