"""What to order of a type, when and why, from the demand of the last night and what lies on the shelf."""

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fleet.batteries.demand_plot import Delivery, Month, Plot, left_at
from fleet.batteries.policy_wording import packs, service_words, short_month
from fleet.batteries.queries.fleet import Demand, TypeStand
from fleet.core.battery.stock import StockAdvice, Supply, stock_advice
from fleet.web.phrases import day

_DAYS_A_MONTH: Final = 365.25 / 12
_MIDDLE: Final = 0.5


@dataclass(frozen=True, slots=True)
class MonthLine:
    """A month's need, and from now to its end: what is expected, what is enough at the service level, what is left."""

    first: date
    expected: float
    low: float
    middle: float
    high: float
    total: float
    enough: float
    left: float

    @property
    def words(self) -> str:
        """The month."""
        return short_month(self.first)


@dataclass(frozen=True, slots=True)
class Order:
    """What to order of a type. `by` is None when nothing need be ordered within the months looked at.

    `lasts_until`: the last day until which the shelf is enough at the service level; None beyond those months.
    """

    stand: TypeStand
    demand: Demand
    advice: StockAdvice
    by: date | None
    lasts_until: date | None
    plot: Plot

    @property
    def now(self) -> bool:
        """Whether to order today."""
        return self.by is not None and self.by <= self.plot.today

    @property
    def short(self) -> str:
        """The order in few words, for a table."""
        if self.by is None:
            return "Nothing yet"
        return f"{packs(self.advice.quantity)} {'now' if self.now else f'by {day(self.by)}'}"

    @property
    def sentence(self) -> str:
        """The order with its reason."""
        supply, shelf = self.stand.supply, self._shelf()
        sure = service_words(supply.service_level)
        if self.by is None:
            return f"Nothing need be ordered yet: {shelf}, {self._lasts(sure)}."
        order = f"Order {packs(self.advice.quantity)} {'now' if self.now else f'by {day(self.by)}'}"
        wait = "1 day" if supply.lead_days == 1 else f"{supply.lead_days} days"
        return f"{order}: {shelf}, {self._lasts(sure)}; a delivery takes {wait}."

    def _lasts(self, sure: str) -> str:
        if self.lasts_until is None:
            return f"and {sure} that is enough beyond {self._horizon()}"
        if self.lasts_until <= self.plot.today:
            return f"too few to last through {short_month(self.plot.months[0].first)} {sure}"
        return f"and {sure} that lasts until {day(self.lasts_until)}"

    @property
    def lines(self) -> list[MonthLine]:
        """The need month by month."""
        need = self.demand
        enough = need.total(self.stand.supply.service_level).tolist()
        return [
            MonthLine(
                first=month.first,
                expected=need.expected[row],
                low=month.low,
                middle=month.middle,
                high=month.high,
                total=need.total_expected[row],
                enough=enough[row],
                left=left_at(self.plot, month.end),
            )
            for row, month in enumerate(self.plot.months)
        ]

    @property
    def warning(self) -> str:
        """What to say when even an order placed today comes too late."""
        if not self.advice.too_late:
            return ""
        return (
            "Even an order placed today may come too late: the shelf may be empty before it arrives. Ask the supplier "
            "for a quicker delivery, and test first the packs that are expected to need replacing next."
        )

    def _shelf(self) -> str:
        count, more = self.stand.on_shelf, self.plot.delivery
        lies = "none lies on the shelf" if not count else f"{count} lie{'s' if count == 1 else ''} on the shelf"
        return (
            f"{lies} and {more.count} more {'is' if more.count == 1 else 'are'} expected on {day(more.on)}"
            if more
            else lies
        )

    def _horizon(self) -> str:
        return short_month(self.plot.months[-1].first)


def order_of(stand: TypeStand, today: date) -> Order | None:
    """What to order of a type today; None where there is no forecast of its demand."""
    demand = stand.demand.since(today) if stand.demand else None
    if demand is None or not demand.months:
        return None
    supply = _supply(stand, demand, today)
    advice = stock_advice(demand.total(stand.supply.service_level), demand.total(_MIDDLE), supply)
    by, lasts = _by(stand, demand, advice, supply, today), _lasts_until(demand, advice, today)
    return Order(stand, demand, advice, by, lasts, _plot(stand, demand, today))


def _supply(stand: TypeStand, demand: Demand, today: date) -> Supply:
    kept = stand.supply
    expected = max(kept.expected_on or today, today)
    return Supply(
        on_shelf=stand.on_shelf,
        on_order=kept.on_order,
        arrives_month=max(sum(first <= expected for first in demand.months) - 1, 0),
        lead_months=math.ceil(kept.lead_days / _DAYS_A_MONTH),
        multiple=kept.multiple,
    )


def _by(stand: TypeStand, demand: Demand, advice: StockAdvice, supply: Supply, today: date) -> date | None:
    """The last day to order: so early that the delivery comes before the month for which it is needed."""
    if advice.order_in_month is None:
        return None
    needed = demand.months[advice.order_in_month + min(supply.lead_months, len(demand.months) - 1)]
    return today if advice.too_late else max(needed - timedelta(days=stand.supply.lead_days), today)


def _lasts_until(demand: Demand, advice: StockAdvice, today: date) -> date | None:
    """The end of the month before the one in which the shelf may run short; the first one counts from today."""
    if advice.runs_out_early is None:
        return None
    return demand.months[advice.runs_out_early] - timedelta(days=1) if advice.runs_out_early else today


def _plot(stand: TypeStand, demand: Demand, today: date) -> Plot:
    kept = stand.supply
    columns = zip(demand.months, demand.low, demand.middle, demand.high, strict=True)
    return Plot(
        key=f"demand-{stand.device_type.pk}",
        name=str(stand.device_type),
        today=today,
        months=[Month(*column) for column in columns],
        needed=demand.total_expected,
        on_shelf=stand.on_shelf,
        delivery=Delivery(max(kept.expected_on, today), kept.on_order) if kept.on_order and kept.expected_on else None,
    )
