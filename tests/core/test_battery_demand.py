"""The number of packs needed by month, against brute-force convolution and simulation."""

import itertools
import tracemalloc

import numpy as np
import pytest
from scipy import special

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.counts import CountLaw
from fleet.core.battery.demand import Demand, demand
from fleet.core.errors import BadValueError

NEVER = 0.0


def lives(months: FloatArray, median: FloatArray, sd: float) -> FloatArray:
    """Lognormal chances of having crossed by each age in months."""
    return np.asarray(special.ndtr(np.log(np.maximum(months, 1e-9) / median) / sd))


def fleet(packs: int, *, draws: int, months: int, seed: int, shared: float = 0.15) -> tuple[FloatArray, FloatArray]:
    """Packs up to four years old that last some 40 months, the type's median being known to `shared`."""
    rng = np.random.default_rng(seed)
    median = 40 * np.exp(rng.normal(0, shared, draws))
    age = rng.uniform(0, 48, packs)
    after = np.arange(months + 1)
    own = lives(age + after[:, None, None], median[:, None] * np.exp(rng.normal(0, 0.1, packs)), 0.25)
    return own, lives(after, median[:, None], 0.25)


def by_brute_force(own: FloatArray, new: FloatArray, month: int) -> FloatArray:
    """The law of the number needed by the end of `month`, slot after slot, need after need."""
    found = []
    for draw in range(own.shape[1]):
        law = np.ones(1)
        step = np.diff(new[draw], prepend=0.0)
        step[1] += step[0]
        for pack in range(own.shape[2]):
            first = np.diff(own[:, draw, pack])
            first[0] += own[0, draw, pack]
            slot = np.zeros(month + 1)
            _follow(slot, first, step, month, start=0, chance=1.0, count=0)
            law = np.convolve(law, slot)
        found.append(law)
    return np.mean(found, axis=0)


def _follow(
    slot: FloatArray, law: FloatArray, step: FloatArray, month: int, *, start: int, chance: float, count: int
) -> None:
    left = month - start
    slot[count] += chance * (1 - law[:left].sum())
    for after in range(left):
        if law[after] > 0:
            _follow(slot, step[1:], step, month, start=start + after + 1, chance=chance * law[after], count=count + 1)


def law_of(count: CountLaw, length: int) -> FloatArray:
    """The law as chances of 0, 1, ... `length` - 1."""
    chance = np.zeros(length)
    chance[count.first : count.first + len(count.chance)] = count.chance
    return chance


def furthest_apart(one: Demand, two: Demand) -> float:
    """The largest difference between the chances of not exceeding any number, in any month."""
    pairs = zip((*one.monthly, *one.total), (*two.monthly, *two.total), strict=True)
    apart = []
    for a, b in pairs:
        length = max(a.first + len(a.chance), b.first + len(b.chance))
        apart.append(np.abs(np.cumsum(law_of(a, length) - law_of(b, length))).max())
    return float(max(apart))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_total_is_that_of_brute_force(seed: int) -> None:
    """Seven packs, two draws, six months, lives so short that slots need several packs: equal to 1e-9."""
    rng = np.random.default_rng(seed)
    own = np.sort(rng.uniform(0, 1, (7, 2, 7)), axis=0)
    new = np.sort(rng.uniform(0, 1, (2, 7)), axis=1)
    got = demand(own, new)
    for month in (1, 3, 6):
        exact = by_brute_force(own, new, month)
        assert np.abs(law_of(got.total[month - 1], len(exact)) - exact).max() < 1e-9


def test_a_month_is_that_of_brute_force() -> None:
    """In one month a slot needs one pack or none: all patterns of six slots are enumerated."""
    own, new = fleet(6, draws=3, months=4, seed=5)
    got = demand(own, new).monthly[1]
    exact = np.zeros(7)
    step = np.diff(new, axis=1)
    for draw in range(3):
        first = np.diff(own[:, draw], axis=0)
        need = first[1] + (first[0] + own[0, draw]) * step[draw, 0]
        for pattern in itertools.product((0, 1), repeat=6):
            exact[sum(pattern)] += np.prod(np.where(pattern, need, 1 - need)) / 3
    assert np.abs(law_of(got, 7) - exact).max() < 1e-9


def test_a_month_certain_to_end_each_life_repeats_the_demand() -> None:
    """With lives of exactly one month five slots need five packs in each month, for sure."""
    own, new = np.ones((13, 1, 5)), np.ones((1, 13))
    own[0], new[:, 0] = 0.0, 0.0
    got = demand(own, new)
    assert got.expected == pytest.approx(np.full(12, 5.0))
    assert got.total_quantiles([0.01, 0.99]).tolist() == [list(range(5, 65, 5))] * 2


def test_a_pack_that_is_below_today_is_needed_in_the_first_month() -> None:
    """One pack that is surely below, and new ones that last: one pack in month 1 and none after."""
    got = demand(np.ones((7, 4, 1)), np.full((4, 7), NEVER))
    assert got.expected.tolist() == pytest.approx([1, 0, 0, 0, 0, 0])


def test_the_expected_total_is_the_renewal_function() -> None:
    """Simulated slots, each renewed at the end of the month in which its pack crosses: within 4 standard errors."""
    rng = np.random.default_rng(8)
    slots, months = 200_000, 30
    after = np.arange(months + 1)
    own, new = lives(6.0 + after, np.array(12.0), 0.4)[:, None, None], lives(after, np.array([[9.0]]), 0.4)
    end = np.searchsorted(own[:, 0, 0], rng.uniform(size=slots)).clip(1)
    needed = np.zeros((months + 1, slots))
    while (end <= months).any():
        needed[end[end <= months], np.flatnonzero(end <= months)] += 1
        end = end + np.searchsorted(new[0], rng.uniform(size=slots)).clip(1)
    total = np.cumsum(needed[1:], axis=0)
    error = total.std(axis=1) / np.sqrt(slots) + 1e-6
    got = demand(own, new)
    assert (np.abs(got.total_expected - total.mean(axis=1)) < 4 * error).all()
    assert got.total_expected == pytest.approx(np.cumsum(got.expected))


@pytest.mark.parametrize(("packs", "seed"), [(60, 1), (600, 2), (1500, 3)])
def test_groups_of_packs_are_within_a_tenth_of_what_is_allowed(packs: int, seed: int) -> None:
    """The law of grouped packs is within .0002 of the exact one, where .002 would do."""
    own, new = fleet(packs, draws=4, months=12, seed=seed)
    assert 0 < furthest_apart(demand(own, new, exact_up_to=packs), demand(own, new, exact_up_to=0)) < 0.0002


def test_groups_hold_where_slots_need_many_packs() -> None:
    """With lives of some two months a slot needs up to six packs in a year: still within .0005 of exact."""
    rng = np.random.default_rng(4)
    own = np.sort(rng.uniform(0, 1, (13, 2, 80)), axis=0)
    new = lives(np.arange(13), np.array([[2.0], [3.0]]), 0.3)
    assert furthest_apart(demand(own, new), demand(own, new, exact_up_to=0)) < 0.0005


def test_groups_keep_the_mean() -> None:
    """The expected number is the same, to rounding."""
    own, new = fleet(700, draws=4, months=12, seed=6)
    exact, grouped = demand(own, new, exact_up_to=700), demand(own, new)
    assert grouped.total_expected == pytest.approx(exact.total_expected, rel=1e-9)


def test_a_shared_draw_widens_the_band() -> None:
    """48 packs whose type is poorly known: sharing the draw doubles the spread, at least."""
    own, new = fleet(48, draws=200, months=12, seed=9, shared=0.3)
    alone = np.broadcast_to(own.mean(axis=1, keepdims=True), own.shape)[:, :1]
    shared, independent = demand(own, new), demand(alone, new.mean(axis=0, keepdims=True))
    assert shared.total_expected[5] == pytest.approx(independent.total_expected[5], rel=0.01)
    assert shared.total[5].sd > 2 * independent.total[5].sd
    assert np.ptp(shared.total_quantiles([0.1, 0.9])[:, 5]) > 2 * np.ptp(independent.total_quantiles([0.1, 0.9])[:, 5])


def test_pieces_of_packs_make_the_same_demand() -> None:
    """Packs given in three pieces, one after another, count as together."""
    own, new = fleet(40, draws=3, months=6, seed=2)
    pieces = (own[:, :, some] for some in (slice(0, 15), slice(15, 16), slice(16, 40)))
    assert furthest_apart(demand(own, new), demand(pieces, new)) < 1e-12


def test_two_types_add_up() -> None:
    """Two types under one draw each are together what one type of all their packs would be."""
    own, new = fleet(30, draws=1, months=6, seed=2)
    both = demand(own[:, :, :10], new).plus(demand(own[:, :, 10:], new))
    assert furthest_apart(demand(own, new), both) < 1e-9


def test_no_pack_needs_none() -> None:
    """A type without packs needs none, in any month, for sure."""
    got = demand([], np.full((2, 4), NEVER))
    assert got.total_quantiles([0.5, 0.99]).tolist() == [[0, 0, 0]] * 2
    assert got.sd.tolist() == [0, 0, 0]


def test_a_quantile_is_the_least_number_that_suffices() -> None:
    """Chances .25, .5, .25 of two, three, four."""
    law = CountLaw(2, np.array([0.25, 0.5, 0.25]))
    assert law.quantiles(np.array([0.25, 0.26, 0.75, 0.76, 1.0])).tolist() == [2, 3, 3, 4, 4]
    assert (law.mean, law.sd, law.cdf(1), law.cdf(3), law.cdf(9)) == pytest.approx((3, 0.5**0.5, 0, 0.75, 1))


def test_where_a_chance_falls_it_is_levelled() -> None:
    """A law that dips, as one before a pack's last test may, counts as flat there."""
    own = np.array([0.1, 0.3, 0.2, 0.4])[:, None, None]
    assert demand(own, np.zeros((1, 4))).total_expected == pytest.approx([0.3, 0.3, 0.4])


@pytest.mark.parametrize(
    ("own", "new", "field"),
    [
        (np.zeros((4, 2, 5)), np.zeros((3, 4)), "own"),
        (np.zeros((4, 5)), np.zeros((2, 4)), "own"),
        (np.full((4, 2, 5), 1.2), np.zeros((2, 4)), "own"),
        (np.zeros((4, 2, 5)), np.full((2, 4), np.nan), "new"),
        (np.zeros((1, 2, 5)), np.zeros((2, 1)), "new"),
    ],
)
def test_what_is_no_chance_is_refused(own: FloatArray, new: FloatArray, field: str) -> None:
    """Other shapes, and numbers that are no chances, are refused by name."""
    with pytest.raises(BadValueError) as refused:
        demand(own, new)
    assert refused.value.field == field


def test_demands_over_other_months_do_not_add_up() -> None:
    """Six months and three are refused."""
    one, two = (demand(np.zeros((months + 1, 1, 1)), np.zeros((1, months + 1))) for months in (3, 6))
    with pytest.raises(BadValueError, match="3 months"):
        one.plus(two)


def test_a_large_type_fits_in_little_memory() -> None:
    """20,000 packs by pieces, 32 draws, 24 months: under 200 MB at any time, where the whole would be 128 MB a copy."""
    own, new = fleet(2000, draws=32, months=24, seed=1)
    tracemalloc.start()
    demand((own for _ in range(10)), new)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 200e6
