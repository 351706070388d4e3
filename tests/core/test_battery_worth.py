"""What one more test is worth, against a case with a closed form and against the fade model itself."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, stats

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.outlook import outlook
from fleet.core.battery.worth import TestWorth, worth_of_test
from fleet.core.errors import BadValueError
from tests.core.bend_cases import LEVEL, known, one_pack

NOISE = 0.02
LIMIT = 0.1


@dataclass(frozen=True)
class Results:
    """Possible results as plain arrays (Q, P)."""

    fraction: FloatArray
    weight: FloatArray
    chance: FloatArray


@dataclass(frozen=True)
class KnownNormal:
    """A true fraction N(mean, sd^2), read with NOISE; the pack has crossed if it is under .80 at the test."""

    mean: float
    sd: float

    @property
    def pull(self) -> float:
        """How far the expectation moves with the reading."""
        return self.sd**2 / (self.sd**2 + NOISE**2)

    @property
    def reading(self) -> stats.rv_continuous:
        """The law of what is read."""
        return stats.norm(self.mean, np.hypot(self.sd, NOISE))

    def chance(self, reading: FloatArray) -> FloatArray:
        """The chance of having crossed, given what was read."""
        middle = self.mean + self.pull * (reading - self.mean)
        return np.asarray(stats.norm.cdf((0.80 - middle) / np.sqrt(self.pull * NOISE**2)))

    @property
    def clears_at(self) -> float:
        """The reading at which that is LIMIT."""
        enough = 0.80 - stats.norm.ppf(LIMIT) * np.sqrt(self.pull * NOISE**2)
        return float(self.mean + (enough - self.mean) / self.pull)

    @property
    def now(self) -> float:
        """The chance without a test."""
        return float(stats.norm.cdf((0.80 - self.mean) / self.sd))

    @property
    def worth(self) -> float:
        """(min(L, p) - E min(L, p(y))) / L by quadrature, cut where the chance passes the limit."""
        ends = self.mean - 9 * self.sd, self.clears_at, self.mean + 9 * self.sd
        after = sum(
            integrate.quad(lambda y: min(LIMIT, self.chance(y)) * self.reading.pdf(y), low, high)[0]
            for low, high in pairwise(ends)
        )
        return (min(LIMIT, self.now) - after) / LIMIT

    def results(self, nodes: int) -> Results:
        """Readings, finer towards the ends, and what they say."""
        cuts = np.sin(np.pi / 2 * np.arange(nodes + 1) / nodes)[:, None] ** 2
        fraction = self.reading.ppf((cuts[1:] + cuts[:-1]) / 2)
        return Results(fraction, np.diff(cuts, axis=0), self.chance(fraction))


@pytest.mark.parametrize("mean", [0.81, 0.83, 0.85, 0.88])
def test_the_worth_is_that_of_quadrature(mean: float) -> None:
    """With many results it is the closed form's, and so are the clearing fraction and its chance."""
    pack = KnownNormal(mean, 0.03)
    got = worth_of_test(pack.results(2001), [LIMIT])
    assert got.worth[0] == pytest.approx(pack.worth, abs=0.001)
    assert got.clears_at[0] == pytest.approx(pack.clears_at, abs=1e-4)
    assert got.clears_chance[0] == pytest.approx(pack.reading.sf(pack.clears_at), abs=0.001)


@pytest.mark.parametrize("mean", [0.82, 0.84, 0.86])
def test_few_results_come_near(mean: float) -> None:
    """With seven results the clearing fraction is right to .002, where a test repeats to .02."""
    pack = KnownNormal(mean, 0.03)
    got = worth_of_test(pack.results(7), [LIMIT])
    assert got.clears_at[0] == pytest.approx(pack.clears_at, abs=0.002)
    assert got.clears_chance[0] == pytest.approx(pack.reading.sf(pack.clears_at), abs=0.03)


def over_means(sd: float) -> tuple[FloatArray, TestWorth]:
    """Packs from far under to far over the level: their chances now, and what a test of each is worth."""
    packs = [KnownNormal(mean, sd) for mean in np.linspace(0.70, 1.0, 61)]
    each = [pack.results(101) for pack in packs]
    table = Results(*(np.concatenate([getattr(one, name) for one in each], axis=1) for name in vars(each[0])))
    return (table.weight * table.chance).sum(axis=0), worth_of_test(table, np.full(61, LIMIT))


def test_a_test_is_worth_most_near_the_limit() -> None:
    """Among packs equally well known the most worth has a chance within a factor of 2 of the limit."""
    now, got = over_means(0.03)
    assert LIMIT / 2 < now[np.argmax(got.worth)] < LIMIT * 2


def test_a_test_is_worth_nothing_when_the_pack_is_sure() -> None:
    """Far from the level, or where the state is all but known, no result changes the advice."""
    _, got = over_means(0.03)
    assert got.worth[[0, -1]] == pytest.approx([0, 0], abs=1e-4)
    _, known_well = over_means(0.0005)
    assert (known_well.worth < 0.05).all()


def test_the_worth_is_never_negative() -> None:
    """For any results at all, beyond rounding, nor more than the whole limit."""
    rng = np.random.default_rng(3)
    weight = rng.dirichlet(np.ones(7), 5000).T
    results = Results(np.sort(rng.uniform(0, 1, (7, 5000)), axis=0), weight, rng.beta(0.3, 1, (7, 5000)))
    worth = worth_of_test(results, rng.uniform(0.01, 0.5, 5000)).worth
    assert worth.min() > -1e-12
    assert worth.max() <= 1


def one(chance: list[float], limit: float = LIMIT) -> TestWorth:
    """Four equally likely results .7, .8, .9 and 1.0."""
    results = Results(*np.array([[0.7, 0.8, 0.9, 1.0], [0.25] * 4, chance])[:, :, None])
    return worth_of_test(results, [limit])


def test_the_clearing_fraction_lies_where_the_chances_pass_the_limit() -> None:
    """Between the last result over the limit and the first under it; the chance of more lies between theirs."""
    got = one([0.9, 0.5, 0.05, 0.01])
    assert 0.8 < got.clears_at[0] < 0.9
    assert 0.375 < got.clears_chance[0] < 0.625
    assert got.changes[0] == got.clears_chance[0]


def test_a_low_result_that_is_likely_wrong_does_not_clear() -> None:
    """Where the lowest result passes for a gross error the chance is small again there: the highest passage counts."""
    assert one([0.05, 0.5, 0.05, 0.01]).clears_at == pytest.approx(one([0.9, 0.5, 0.05, 0.01]).clears_at)


def test_of_a_pack_that_may_wait_a_test_changes_the_advice_if_low() -> None:
    """The chance is within the limit now; the results under the clearing fraction would change that."""
    got = one([0.15, 0.05, 0.02, 0.01])
    assert got.changes[0] == pytest.approx(1 - got.clears_chance[0])
    assert 0.125 < got.changes[0] < 0.375


@pytest.mark.parametrize(("chance", "clears"), [([0.9, 0.8, 0.7, 0.6], 0.0), ([0.09, 0.05, 0.02, 0.01], 1.0)])
def test_where_no_result_changes_the_advice_nothing_clears(chance: list[float], clears: float) -> None:
    """All results say the same: no clearing fraction, no change, no worth."""
    got = one(chance)
    assert np.isnan(got.clears_at[0])
    assert (got.clears_chance[0], got.changes[0], got.worth[0]) == pytest.approx((clears, 0, 0))


def test_a_pack_without_chances_has_no_worth() -> None:
    """Unknown stays unknown."""
    got = one([np.nan] * 4)
    assert np.isnan([got.worth, got.clears_at, got.clears_chance, got.changes]).all()


def test_the_fade_model_finds_the_doubtful_pack_worth_testing() -> None:
    """A pack measured once, long ago and near the level, gains from a test; one tested well and lately does not."""
    numbers = known(gross=0.02)
    vague, sure = one_pack([0.5], [0.97]), one_pack([0.5, 1.0, 2.0, 2.8], [0.99, 0.985, 0.97, 0.96])
    got = [
        worth_of_test(outlook(history, numbers, LEVEL).after_test(np.array([3.0]), np.array([4.0])), [LIMIT])
        for history in (vague, sure)
    ]
    assert got[0].worth[0] > 10 * max(got[1].worth[0], 0.001)
    assert LEVEL < got[0].clears_at[0] < 1.0


def test_tables_of_unequal_shape_are_refused() -> None:
    """Results for one pack and limits for two."""
    with pytest.raises(BadValueError, match="2 packs"):
        worth_of_test(KnownNormal(0.85, 0.03).results(7), [0.1, 0.1])


@pytest.mark.parametrize("limit", [0.0, -0.1, 1.5])
def test_a_limit_that_is_no_chance_is_refused(limit: float) -> None:
    """Worth is a share of the limit."""
    with pytest.raises(BadValueError, match=r"limit\[0\]"):
        one([0.9, 0.5, 0.05, 0.01], limit)
