"""The advice at a visit, the limit that follows from prices, and what another limit or interval would change."""

from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.decision import (
    Advice,
    DecisionRules,
    Limits,
    PackChances,
    PackPlace,
    VisitAges,
    WhatIf,
    decide,
    what_if,
)
from fleet.core.errors import BadValueError

UNKNOWN = float("nan")


def advice(*, limit: float = 0.1, may_skip: bool = True, longest: float = 2.0, **fact: float | bool) -> Advice:
    """The advice for one pack that is sure to last, but for the facts given."""
    plain: dict[str, float | bool] = {
        "before_visit": 0.0,
        "before_following": 0.01,
        "is_below": False,
        "assumed": False,
        "untested_years": 0.5,
        "untested_if_skipped": 1.5,
        "changes": 0.01,
    }
    pack = PackChances(**{name: np.array([value]) for name, value in (plain | fact).items()})
    limits = Limits(np.array([limit]), np.array([may_skip]), np.array([longest]))
    return Advice(decide(pack, limits)[0])


@pytest.mark.parametrize(
    ("fact", "expected"),
    [
        ({"is_below": True, "before_visit": 0.9}, Advice.REPLACE_NOW),
        ({"is_below": True, "assumed": True}, Advice.REPLACE_NOW),
        ({"before_visit": 0.11, "before_following": 0.3}, Advice.CALL_IN),
        ({"before_visit": 0.11, "before_following": UNKNOWN}, Advice.CALL_IN),
        ({"before_visit": 0.1, "before_following": 0.11}, Advice.REPLACE_AT_VISIT),
        ({"before_following": 0.11, "assumed": True}, Advice.REPLACE_AT_VISIT),
        ({"before_following": 0.1, "changes": 0.1}, Advice.WAIT),
        ({"assumed": True}, Advice.TEST_NOW),
        ({"untested_years": 2.01}, Advice.TEST_NOW),
        ({"changes": 0.21}, Advice.TEST_NOW),
        ({"before_visit": UNKNOWN, "before_following": UNKNOWN}, Advice.TEST_NOW),
        ({}, Advice.SKIP_TEST),
        ({"may_skip": False}, Advice.WAIT),
        ({"changes": 0.05}, Advice.WAIT),
        ({"changes": UNKNOWN}, Advice.WAIT),
        ({"untested_if_skipped": 2.01}, Advice.WAIT),
    ],
)
def test_the_most_urgent_rule_that_holds_gives_the_advice(fact: dict[str, float | bool], expected: Advice) -> None:
    """One row of the truth table."""
    assert advice(**fact) == expected


def test_every_advice_can_be_given() -> None:
    """The table above leaves no advice out, and packs are judged one by one."""
    pack = PackChances(
        before_visit=[0.0, 0.3, 0.0, 0.0, 0.0, 0.0],
        before_following=[0.0, 0.4, 0.3, 0.0, 0.0, 0.0],
        is_below=[True, False, False, False, False, False],
        assumed=[False, False, False, True, False, False],
        untested_years=np.ones(6),
        untested_if_skipped=np.full(6, 1.5),
        changes=np.zeros(6),
    )
    limits = Limits(np.full(6, 0.1), [True, True, True, True, True, False], np.full(6, 2.0))
    assert decide(pack, limits).tolist() == list(Advice)


def test_the_limit_is_each_packs_own() -> None:
    """The same chance is over the limit of one ward and within that of another."""
    pack = PackChances([0.2] * 2, [0.2] * 2, [False] * 2, [False] * 2, [1.0] * 2, [2.0] * 2, [0.0] * 2)
    given = decide(pack, Limits([0.1, 0.3], [False] * 2, [2.0] * 2), DecisionRules())
    assert given.tolist() == [Advice.CALL_IN, Advice.WAIT]


@pytest.mark.parametrize("limit", [0.0, 1.1, UNKNOWN])
def test_a_limit_that_is_no_chance_is_refused(limit: float) -> None:
    """A limit of none would replace every pack at every visit."""
    with pytest.raises(BadValueError, match=r"limit\[0\]"):
        Limits([limit], [True], [2.0])


def test_columns_of_unequal_length_are_refused() -> None:
    """Two packs and three limits do not go together."""
    pack = PackChances([0.2] * 2, [0.2] * 2, [False] * 2, [False] * 2, [1.0] * 2, [2.0] * 2, [0.0] * 2)
    with pytest.raises(BadValueError, match="limits has 3 rows"):
        decide(pack, Limits([0.1] * 3, [False] * 3, [2.0] * 3))


def test_the_break_even_limit_is_that_by_hand() -> None:
    """Packs of 60 that all last four years and two weeks cost 15 a year, replaced at four: 15 in 150."""
    assert PackPlace(60, 135, 1, 4.05, 4.04).cost_a_year() == pytest.approx(15)
    assert PackPlace(60, 135, 1, 4.05, 4.04).break_even_limit() == pytest.approx(0.1)
    assert PackPlace(60, 135, 0.5, 4.05, 4.04).break_even_limit() == pytest.approx(7.5 / 142.5)


def test_the_cost_a_year_is_that_of_a_sum_over_days() -> None:
    """Lives of 3 to 4 years (1 in 10, half) and yearly visits: the cheapest age of replacement, by adding up days."""
    life = stats.lognorm(np.log(4 / 3) / stats.norm.isf(0.1), scale=4)
    days = (np.arange(365 * 20) + 0.5) / 365
    served = np.cumsum(life.sf(days)) / 365
    cost = [(60 + 300 * life.cdf(age)) / served[365 * age - 1] for age in range(1, 20)]
    assert PackPlace(60, 300, 1, 4, 3).cost_a_year() == pytest.approx(min(cost), rel=1e-4)


def test_a_few_endless_lives_make_no_place_cheap() -> None:
    """Half last 4 years and 1 in 10 not a month: no place costs less than a pack of 100 in 16 years.

    Without an end to the ages it would be 2.6 a year.
    """
    assert PackPlace(100, 500, 1, 4, 0.1).cost_a_year() == pytest.approx(62.1, abs=0.1)


def test_packs_that_last_longer_than_that_are_not_cut_short() -> None:
    """Packs of 60 that all last thirty years and two weeks cost 2 a year."""
    assert PackPlace(60, 1000, 1, 30.05, 30.04).cost_a_year() == pytest.approx(2)


def test_where_nobody_says_lives_are_assumed_to_differ() -> None:
    """Without the low life it is taken .3 of a logarithm wide."""
    assert PackPlace(60, 300, 1, 4).break_even_limit() == pytest.approx(
        PackPlace(60, 300, 1, 4, 4 * np.exp(-0.3 * 1.2816)).break_even_limit()
    )


@pytest.mark.parametrize(
    ("prices", "field"),
    [
        ((0, 100, 1, 4, 3), "pack_price"),
        ((60, -1, 1, 4, 3), "failure_price"),
        ((60, 100, 0, 4, 3), "interval_years"),
        ((60, 100, 1, UNKNOWN, 3), "new_life_years"),
        ((60, 100, 1, 4, 0), "new_life_low_years"),
        ((60, 100, 1, 4, 4), "new_life_years"),
    ],
)
def test_prices_and_lives_that_settle_nothing_are_refused(prices: tuple[float, ...], field: str) -> None:
    """Each must be above 0, and half the packs last longer than all but 1 in 10 do."""
    with pytest.raises(BadValueError) as refused:
        PackPlace(*prices)
    assert refused.value.field == field


class Places:
    """3,000 simulated places whose packs cost 60; each pack's own scale is known, and it is judged at each visit."""

    def __init__(self, shape: float, interval: float) -> None:
        rng = np.random.default_rng(1)
        scale = 4 * np.exp(rng.normal(0, 0.25, 3000))
        self.life = scale * rng.weibull(shape, 3000)
        self.visits = interval * np.arange(1, int(15 / interval))
        hazard = ((self.visits[:, None] + np.array([[[0.0]], [[interval]]])) / scale) ** shape
        self.chance = 1 - np.exp(hazard[0] - hazard[1])

    def yearly_cost(self, limit: float, failure_price: float) -> float:
        """Cost a year of a place under a fixed limit."""
        planned = self.visits[np.argmax(self.chance > limit, axis=0)]
        failed = self.life < planned
        return float((60 + failure_price * failed).sum() / np.minimum(self.life, planned).sum())


@pytest.mark.parametrize("shape", [3.0, 6.0])
@pytest.mark.parametrize(("failure_price", "interval"), [(60, 1.0), (300, 1.0), (300, 0.5), (1500, 0.5)])
def test_the_break_even_limit_costs_little_more_than_the_best(
    failure_price: float, interval: float, shape: float
) -> None:
    """Simulated: of fixed limits from 1 in 300 to 9 in 10 the cheapest saves at most 4 percent of the yearly cost."""
    places = Places(shape, interval)
    limit = PackPlace(60, failure_price, interval, *np.quantile(places.life, [0.5, 0.1])).break_even_limit()
    best = min(places.yearly_cost(each, failure_price) for each in np.geomspace(0.003, 0.9, 40))
    assert places.yearly_cost(limit, failure_price) < 1.04 * best


LIMITS = np.array([0.02, 0.05, 0.10, 0.20, 0.30])
INTERVALS = np.array([0.5, 1.0, 1.5, 2.0])


def fleet(packs: int = 4000, sd: float = 0.25) -> tuple[FloatArray, FloatArray, VisitAges]:
    """Ages, medians of their lives and visits of packs that have not crossed."""
    rng = np.random.default_rng(4)
    median = 4 * np.exp(rng.normal(0, 0.1, packs))
    today = rng.uniform(0, 4, packs)
    return today, median, VisitAges(today, today + rng.uniform(0, 1, packs))


def answers(today: FloatArray, median: FloatArray, ages: VisitAges, sd: float = 0.25) -> WhatIf:
    """What the limits and intervals would do to lognormal lives, given that none has crossed."""

    def law(age: FloatArray) -> FloatArray:
        alive = [stats.lognorm.sf(each, sd, scale=median) for each in (age, today)]
        return np.asarray(1 - alive[0] / alive[1])

    return what_if(law, partial(stats.lognorm.cdf, s=sd, scale=4.0), ages, LIMITS, INTERVALS)


def test_a_higher_limit_never_buys_more_and_never_has_fewer_under() -> None:
    """For each visit interval, along the limits."""
    found = answers(*fleet())
    assert (np.diff(found.packs, axis=0) <= 1e-9).all()
    assert (np.diff(found.under, axis=0) >= -1e-9).all()
    assert (found.packs[0] > found.packs[-1]).all()
    assert (found.under[0] < found.under[-1]).all()


def test_rarer_visits_buy_more_packs_at_the_same_limit() -> None:
    """With a longer wait until the following visit a pack is over the limit sooner."""
    found = answers(*fleet())
    assert (np.diff(found.packs[:, :3], axis=1) > 0).all()


def simulated(limit: float, interval: float, today: FloatArray, median: FloatArray, ages: VisitAges) -> FloatArray:
    """Packs needed and packs under in one simulated year, averaged over runs; each place keeps its visits."""
    rng = np.random.default_rng(2)
    runs, sd, total = 40, 0.25, np.zeros(2)
    first = np.maximum(ages.next_visit, today) - today
    visits = np.concatenate([np.zeros((1, len(today))), first + interval * np.arange(3)[:, None]])
    for _ in range(runs):
        born, scale, planned = -today, median, np.full(len(today), -1.0)
        rank = rng.uniform(stats.lognorm.cdf(today, sd, scale=median), 1)
        dies = born + stats.lognorm.ppf(rank, sd, scale=scale)
        base = stats.lognorm.cdf(today, sd, scale=median)
        for visit, after in pairwise(visits):
            died = (dies <= np.minimum(visit, 1.0)) & (dies > planned)
            total += died.sum()
            born, scale, base = (np.where(died, new, old) for new, old in ((dies, born), (4.0, scale), (0.0, base)))
            dies = np.where(died, born + stats.lognorm.rvs(sd, scale=4.0, size=len(today), random_state=rng), dies)
            chance = (stats.lognorm.cdf(after - born, sd, scale=scale) - base) / (1 - base)
            called = (chance > limit) & (visit <= 1.0)
            total[0] += called.sum()
            born, scale, base = (np.where(called, new, old) for new, old in ((visit, born), (4.0, scale), (0.0, base)))
            dies = np.where(called, born + stats.lognorm.rvs(sd, scale=4.0, size=len(today), random_state=rng), dies)
        total += ((dies <= 1.0) & (visits[-1] > 1.0)).sum()
    return np.asarray(total / runs)


@pytest.mark.parametrize(("row", "column"), [(0, 1), (2, 0), (2, 1), (4, 1), (4, 2)])
def test_packs_and_failures_are_those_of_a_simulated_year(row: int, column: int) -> None:
    """4,000 places followed pack by pack under the same rule: within 3 percent, or a few packs."""
    today, median, ages = fleet()
    found = answers(today, median, ages)
    packs, under = simulated(LIMITS[row], INTERVALS[column], today, median, ages)
    assert found.packs[row, column] == pytest.approx(packs, rel=0.03)
    assert found.under[row, column] == pytest.approx(under, rel=0.03, abs=3)


def stepped(age: FloatArray, at: float = 3.25) -> FloatArray:
    """Packs that all cross at the same age, for sure."""
    return np.where(age >= at, 1.0, 0.0)


def one_pack(today: float, next_visit: float, interval: float = 1.0, years: float = 1.0) -> tuple[float, float]:
    """Packs needed and under for a pack that crosses at 3.25 years, as its successors do."""
    found = what_if(stepped, stepped, VisitAges([today], [next_visit], years), [0.1], [interval])
    return float(found.packs[0, 0]), float(found.under[0, 0])


def test_a_pack_is_replaced_at_the_last_visit_before_it_crosses() -> None:
    """Visited at 2.5 and 3.5 it goes at 2.5, and nothing falls under the level."""
    assert one_pack(2.0, 2.5) == (1, 0)


def test_a_pack_that_would_cross_before_its_visit_is_called_in() -> None:
    """Visited at 3.5 only, it is called in today."""
    assert one_pack(3.0, 3.5) == (1, 0)


def test_a_pack_below_today_counts_as_under() -> None:
    """Past its crossing it is called in, and was under."""
    assert one_pack(3.5, 4.0) == (1, 1)


def test_a_young_pack_stays_in() -> None:
    """At one year it needs no pack in the year to come."""
    assert one_pack(1.0, 1.5) == (0, 0)


def test_without_a_planned_visit_the_next_is_one_interval_away() -> None:
    """At 2.5 years, visited at 3.5 at the earliest, it is called in; with a visit every half year it goes at 3."""
    assert one_pack(2.5, UNKNOWN) == (1, 0)
    assert one_pack(2.5, UNKNOWN, interval=0.5) == (1, 0)


def test_a_successor_is_replaced_in_its_turn() -> None:
    """Over ten years, visited yearly, packs go after three years each: called in at once, then at 3, 6 and 9."""
    assert one_pack(3.0, 3.5, years=10.0) == (4, 0)


def test_groups_of_packs_add_up() -> None:
    """Two halves of a fleet need together what the whole does."""
    today, median, _ = fleet()
    visit = today + 0.4
    halves = [
        answers(today[half], median[half], VisitAges(today[half], visit[half]))
        for half in (slice(999), slice(999, None))
    ]
    whole = answers(today, median, VisitAges(today, visit))
    assert halves[0].plus(halves[1]).packs == pytest.approx(whole.packs)
    assert halves[0].plus(halves[1]).under == pytest.approx(whole.under)


def test_an_interval_of_no_years_is_refused() -> None:
    """Visits without end are no plan."""
    with pytest.raises(BadValueError, match="above 0 years"):
        what_if(stepped, stepped, VisitAges([1.0], [1.5]), [0.1], [0.0])
