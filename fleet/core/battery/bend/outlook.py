"""When the packs of a type cross the level: a mixture over the drawn numbers, and over good and wrong tests.

Each draw of the type's numbers gives each pack one normal state, or several where a test is in doubt. The chance of
having crossed is their weighted mean; quantiles come from inverting it. Draws are shared by all packs: whoever counts
crossings over packs must count within a draw (`chance_by_draw`) and mix afterwards, or the count looks too sure.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.filtering import filtered, grouped
from fleet.core.battery.bend.histories import PLAIN, FadeTests, Histories, lay_out
from fleet.core.battery.bend.next_test import NextTest, TestOutcomes
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.bend.passage import Course, Passage

# Ages at which the collapsed law is taken; least and most probits, from the lowest to the highest asked, at which the
# whole law is taken at first, and how far beyond them.
COARSE, LEVELS, BEYOND = 20, (3, 9), 1.0
# It is taken again at ages found from that, at most so often, until all but FEW chances are CLOSE to those asked.
MOST_TIMES, FEW, CLOSE = 4, 0.005, 0.01
# The law is held off 0 and 1 by this before its probit is taken.
_LEAST_CHANCE = 1e-9
# Ages under this share of the horizon count as it where they are interpolated.
_LEAST_AGE = 1e-3
# Packs that are looked at together: their states fit a processor's cache.
_AT_ONCE = 2000


@dataclass(frozen=True, eq=False)
class _Part:
    """Packs at `row` (n,) with as many normals each: `weight` (B, R, n), 1 over B; `course` the same shape."""

    row: IntArray
    weight: FloatArray
    course: Course
    level: float

    @cached_property
    def passage(self) -> Passage:
        """Return the law of when each of its normals passes the level."""
        return Passage(self.course, self.level)

    def collapsed(self) -> Passage:
        """Return the law of one normal a pack (n,), with the mean and covariance of all its normals."""
        share, course = self.weight / self.weight.shape[1], self.course
        mean = np.einsum("brn,ibrn->in", share, course.mean)
        apart = course.mean - mean[:, None, None]
        covariance = np.einsum("brn,ijbrn->ijn", share, course.covariance)
        covariance += np.einsum("brn,ibrn,jbrn->ijn", share, apart, apart)
        numbers = (np.mean(each, axis=0) for each in (course.bend, course.power, course.stray))
        return Passage(Course(course.age, mean, covariance, *numbers), self.level)


@dataclass(frozen=True, eq=False)
class FadeOutlook:
    """What is known of P packs' fades and crossings of `level`, given R draws of the type's numbers.

    Called with ages (P,) it is a `CrossingLaw`. Before a pack's last test it is rough: see `passage`. `noise` (R,): the
    variance of a plain test.
    """

    level: float
    packs: int
    draws: int
    noise: FloatArray
    parts: tuple[_Part, ...]

    def __call__(self, age_years: FloatArray) -> FloatArray:
        """Return the chance (P,) that each pack has crossed by `age_years` (P,)."""
        return np.asarray(self.chance_by_draw(age_years).mean(axis=0))

    def chance_by_draw(self, age_years: FloatArray) -> FloatArray:
        """Return the same within each draw (R, P)."""
        chance = np.zeros((self.draws, self.packs))
        for part in self.parts:
            passed = part.passage(age_years[part.row])
            chance[:, part.row] = np.einsum("brn,brn->rn", part.weight, passed)
        return chance

    def fraction_at(self, age_years: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean and standard deviation (P,) of the true fraction at `age_years` (P,), test noise left out."""
        mean, square = np.zeros(self.packs), np.zeros(self.packs)
        for part in self.parts:
            middle, variance, _ = part.course.moments(age_years[part.row])
            share = part.weight / self.draws
            mean[part.row] = np.einsum("brn,brn->n", share, middle)
            square[part.row] = np.einsum("brn,brn->n", share, variance + (middle - mean[part.row]) ** 2)
        return mean, np.sqrt(square)

    def after_test(self, test_age: FloatArray, asked_age: FloatArray, *, nodes: int = 7) -> TestOutcomes:
        """Return what a good plain test at `test_age` (P,) may read, and the chances of crossing by `asked_age` (P,).

        `nodes` results (Q,), finer towards the ends; over them the chance is on average today's. A test before the
        pack's last one is taken as at that one, and an asked age before the test as at the test.
        """
        found = TestOutcomes(*np.zeros((3, nodes, self.packs)))
        for part in self.parts:
            tested = np.maximum(test_age[part.row], part.course.age)
            test = NextTest(part.course, part.weight / self.draws, self.noise[:, None], self.level)
            some = test.outcomes(tested, np.maximum(asked_age[part.row], tested), nodes)
            for name in ("fraction", "weight", "chance"):
                getattr(found, name)[:, part.row] = getattr(some, name)
        return found

    def crossing_ages(self, probabilities: FloatArray, horizon: FloatArray) -> FloatArray:
        """Return the ages (Q, P) by which each pack has crossed with each of the chances (Q,), rising.

        0 where the chance is reached when new; infinity where it is not reached by the age `horizon` (P,). A law
        collapsed to one normal a pack says roughly where each pack's law rises. The whole law is taken at a few ages
        spread over that rise, again at ages found from these, and its probit as straight in log age between all those.
        """
        probits = special.ndtri(probabilities)
        spread = np.linspace(probits[0], probits[-1], int(np.clip(len(probits), *LEVELS)))
        wide = np.concatenate([[spread[0] - BEYOND], spread, [spread[-1] + BEYOND]])
        rise = self._rise(special.ndtr(wide), horizon)
        rise[-1] = np.minimum(rise[-1], 2 * rise[-2] - rise[1])
        ages = np.concatenate([np.zeros((1, self.packs)), np.minimum(rise, horizon), horizon[None]])
        chance = np.concatenate([np.zeros((1, self.packs)), self._at(ages[1:])])
        for _ in range(MOST_TIMES):
            found = np.minimum(_inverse(ages, np.maximum.accumulate(chance), special.ndtr(spread)), horizon)
            reached = self._at(found)
            ages, chance = _sorted(np.concatenate([ages, found]), np.concatenate([chance, reached]))
            off = (np.abs(reached - special.ndtr(spread)[:, None]) > CLOSE) & (found < horizon)
            if off.mean() < FEW:
                break
        return _inverse(ages, np.maximum.accumulate(chance), probabilities)

    def _rise(self, asked: FloatArray, horizon: FloatArray) -> FloatArray:
        """Return the ages (J, P) by which the collapsed laws have reached the chances `asked` (J,), or the horizon."""
        found = np.empty((len(asked), self.packs))
        for part in self.parts:
            grid = np.linspace(0.0, 1.0, COARSE)[:, None] * horizon[part.row]
            law = part.collapsed()
            chance = np.maximum.accumulate(np.stack([law(age) for age in grid]), axis=0)
            found[:, part.row] = np.minimum(_inverse(grid, chance, asked), horizon[part.row])
        return found

    def _at(self, ages: FloatArray) -> FloatArray:
        return np.stack([self(age) for age in ages])


def _sorted(ages: FloatArray, chance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return both in order of each pack's ages (J, P)."""
    order = np.argsort(ages, axis=0, kind="stable")
    return np.take_along_axis(ages, order, axis=0), np.take_along_axis(chance, order, axis=0)


def _inverse(ages: FloatArray, chance: FloatArray, probabilities: FloatArray) -> FloatArray:
    """Return the ages (Q, P) at which `chance` (J, P) at `ages` (J, P) reaches each probability (Q,)."""
    probit = special.ndtri(np.clip(chance, _LEAST_CHANCE, 1 - _LEAST_CHANCE))
    log_age = np.log(np.maximum(ages, _LEAST_AGE * ages[-1]))
    rows = np.arange(ages.shape[1])
    found = []
    for probability in probabilities:
        at = np.count_nonzero(chance < probability, axis=0)
        high = np.clip(at, 1, len(ages) - 1)
        under, over = probit[high - 1, rows], probit[high, rows]
        share = (special.ndtri(probability) - under) / np.maximum(over - under, _LEAST_CHANCE)
        start = log_age[high - 1, rows]
        between = np.exp(start + np.clip(share, 0.0, 1.0) * (log_age[high, rows] - start))
        found.append(np.select([at == 0, at < len(ages)], [ages[0], between], np.inf))
    return np.stack(found)


def outlook(histories: Histories, draws: FadeNumbers, level: float) -> FadeOutlook:
    """Return the outlook of the packs in `histories` (in the caller's rows) under drawn numbers of their type."""
    parts = tuple(_part(group, draws, branches, level) for group, branches in grouped(histories, draws))
    return FadeOutlook(level, len(histories), len(draws), draws.noise[PLAIN], parts)


def new_pack_law(draws: FadeNumbers, level: float) -> FadeOutlook:
    """Return the outlook of one new pack of the type, not tested yet and used as most are; its age today is 0."""
    return outlook(lay_out(FadeTests.of([], [], []), 1), draws, level)


def crossing_ages(
    histories: Histories, draws: FadeNumbers, level: float, probabilities: FloatArray, horizon_years: float
) -> FloatArray:
    """Return the crossing ages (Q, P) of `FadeOutlook` for any number of packs, holding few of their states at a time.

    The horizon lies `horizon_years` after each pack's last event.
    """
    found = np.empty((len(probabilities), len(histories)))
    for first in range(0, len(histories), _AT_ONCE):
        some = histories.chosen(np.arange(first, min(first + _AT_ONCE, len(histories))))
        ages = outlook(some.in_own_order(), draws, level).crossing_ages(probabilities, some.last_age + horizon_years)
        found[:, some.row] = ages
    return found


def _part(group: Histories, draws: FadeNumbers, branches: int, level: float) -> _Part:
    states = filtered(group, draws, branches=branches)
    course = Course(
        age=states.age,
        mean=states.mean,
        covariance=states.covariance,
        bend=draws.bend[:, None],
        power=draws.power[:, None],
        stray=draws.stray[:, None],
    )
    return _Part(group.row, states.weight, course, level)
