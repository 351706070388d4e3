"""When to order how many packs, against a simulated shelf with lead time and orders."""

import numpy as np
import pytest
from scipy import stats

from fleet.core.battery.arrays import IntArray
from fleet.core.battery.demand import demand
from fleet.core.battery.stock import StockAdvice, Supply, stock_advice, total_for
from fleet.core.errors import BadValueError

STEADY = np.arange(2, 26, 2)  # two packs a month, for sure


def steady(**supply: int) -> StockAdvice:
    """The advice for a demand of two packs a month that is certain."""
    return stock_advice(STEADY, STEADY, Supply(**supply))


def test_the_order_is_placed_so_that_it_arrives_as_the_shelf_ends() -> None:
    """Eleven packs at two a month end in month 5; with two months' lead the order is due in month 3."""
    assert steady(on_shelf=11, lead_months=2) == StockAdvice(3, 5, 5, 5, too_late=False)


def test_an_order_lasts_through_its_review_period() -> None:
    """The order due in month 3 arrives for months 5 to 7: five packs more than the eleven, or nine for five months."""
    assert steady(on_shelf=11, lead_months=2, review_months=3).quantity == 5
    assert steady(on_shelf=11, lead_months=2, review_months=5).quantity == 9


def test_packs_come_in_multiples() -> None:
    """Five packs sold in fours are eight."""
    assert steady(on_shelf=11, lead_months=2, multiple=4).quantity == 8


def test_a_shelf_that_ends_before_delivery_is_too_late() -> None:
    """Three packs last one month; delivery takes three: order now, and say that it comes late."""
    advice = steady(on_shelf=3, lead_months=3)
    assert (advice.order_now, advice.too_late, advice.runs_out_middle) == (True, True, 1)


def test_what_is_on_order_counts_from_its_arrival() -> None:
    """Three packs and twenty in month 3: short in month 1, which no order can mend, and again in month 11."""
    advice = steady(on_shelf=3, on_order=20, arrives_month=3, lead_months=3)
    assert (advice.order_in_month, advice.runs_out_early, advice.too_late) == (8, 1, True)


def test_a_full_shelf_needs_no_order() -> None:
    """Thirty packs outlast the twenty-four of the horizon."""
    assert steady(on_shelf=30) == StockAdvice(None, 0, None, None, too_late=False)


def test_a_lead_time_past_the_horizon_is_taken_to_its_end() -> None:
    """With a delivery in two years a shelf that ends within one is ordered for now."""
    assert steady(on_shelf=11, lead_months=24).order_now


def test_a_delivery_at_once_needs_no_stock() -> None:
    """With no lead time the order is due in the month that would be short."""
    assert steady(on_shelf=4, lead_months=0).order_in_month == 2


def drawn_needs(rng: np.random.Generator, runs: int) -> tuple[IntArray, IntArray, IntArray]:
    """Simulated cumulative needs (runs, 24) of 60 packs in one of eight draws; and what suffices at .9 and .5."""
    months = np.arange(25)
    median = 30 * np.exp(rng.normal(0, 0.2, 8))
    age = rng.uniform(0, 30, 60)
    own = stats.lognorm.cdf(age + months[:, None, None], 0.25, scale=median[:, None])
    law = demand(own, stats.lognorm.cdf(months, 0.25, scale=median[:, None]))
    draw = rng.integers(0, 8, runs)
    uniform = rng.uniform(size=(runs, 60))
    crossed = np.array([(uniform < own[month, draw]).sum(axis=1) for month in range(1, 25)]).T
    return crossed, *law.total_quantiles([0.9, 0.5])


@pytest.mark.parametrize(("on_shelf", "lead"), [(3, 2), (8, 2), (15, 1), (20, 4)])
def test_the_order_makes_the_shelf_last_as_often_as_asked(on_shelf: int, lead: int) -> None:
    """Simulated: with it each month until the next delivery is covered in 9 of 10 runs; with a pack less, one is not.

    The simulated slots are not renewed; within the months looked at they hardly ever are.
    """
    needs, enough, middle = drawn_needs(np.random.default_rng(on_shelf), 40_000)
    advice = stock_advice(enough, middle, Supply(on_shelf, lead_months=lead))
    assert advice.order_in_month is not None
    usable = advice.order_in_month + lead
    covered = (needs[:, usable : usable + 3] <= on_shelf + advice.quantity).mean(axis=0)
    lacking = (needs[:, usable : usable + 3] <= on_shelf + advice.quantity - 1).mean(axis=0)
    assert covered.min() > 0.9 - 0.006
    assert lacking.min() < 0.9 + 0.006


@pytest.mark.parametrize(("on_shelf", "lead"), [(8, 2), (15, 1), (20, 4)])
def test_an_order_is_not_asked_for_earlier_or_later_than_needed(on_shelf: int, lead: int) -> None:
    """Simulated: until its delivery the shelf lasts in 9 of 10 runs; without it the next month would not."""
    needs, enough, middle = drawn_needs(np.random.default_rng(on_shelf), 40_000)
    advice = stock_advice(enough, middle, Supply(on_shelf, lead_months=lead))
    assert advice.order_in_month is not None
    usable = advice.order_in_month + lead
    lasts = (needs <= on_shelf).mean(axis=0)
    assert (lasts[lead:usable] > 0.9 - 0.006).all()
    assert lasts[usable] < 0.9 + 0.006


@pytest.mark.parametrize("service_level", [0.8, 0.95])
def test_years_of_orders_hold_the_service_level(service_level: float) -> None:
    """5,000 months of Poisson needs, ordered as advised: packs are lacking in at most the share of months allowed."""
    rng = np.random.default_rng(7)
    months = 1 + np.arange(24)
    enough, middle = (stats.poisson.ppf(chance, 4.0 * months).astype(int) for chance in (service_level, 0.5))
    shelf, on_order, arrives = 20, 0, 0
    short = ordered = 0
    for _ in range(5000):
        if on_order and arrives == 0:
            shelf, on_order = shelf + on_order, 0
        owed = max(-shelf, 0)
        advice = stock_advice(enough + owed, middle + owed, Supply(max(shelf, 0), on_order, arrives, lead_months=2))
        if advice.order_now:
            on_order, arrives, ordered = on_order + advice.quantity, 2, ordered + 1
        shelf -= rng.poisson(4.0)
        short += shelf < 0
        arrives = max(arrives - 1, 0)
    assert short / 5000 < (1 - service_level) * 1.1
    assert 5000 / ordered > 2.5


def test_the_stored_demand_is_taken_at_the_next_higher_chance() -> None:
    """.93 is not kept: .95 is on the safe side. More than is kept is refused."""
    stored = {"0.5": [1, 2], "0.95": [3, 4], "0.9": [2, 3]}
    assert total_for(stored, 0.93).tolist() == [3, 4]
    assert total_for(stored, 0.9).tolist() == [2, 3]
    with pytest.raises(BadValueError, match=r"kept up to 0\.95"):
        total_for(stored, 0.99)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"on_shelf": -1}, "on_shelf"),
        ({"on_shelf": 0, "multiple": 0}, "multiple"),
        ({"on_shelf": 1, "lead_months": -1}, "lead_months"),
    ],
)
def test_impossible_numbers_are_refused(change: dict[str, int], field: str) -> None:
    """A shelf, a lead time and a multiple have their least."""
    with pytest.raises(BadValueError) as refused:
        Supply(**change)
    assert refused.value.field == field


@pytest.mark.parametrize(("enough", "middle"), [([3, 2], [1, 1]), ([3, 4], [1]), ([], [])])
def test_a_total_that_falls_or_lacks_months_is_refused(enough: list[int], middle: list[int]) -> None:
    """Totals rise, and both have the same months."""
    with pytest.raises(BadValueError):
        stock_advice(np.array(enough, dtype=int), np.array(middle, dtype=int), Supply(1))
