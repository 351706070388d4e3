"""When the packs of a type cross the level: a mixture over the drawn numbers, and over good and wrong tests.

Each draw of the type's numbers gives each pack one normal state, or several where a test is in doubt. The chance of
having crossed is their weighted mean; quantiles come from inverting it. Draws are shared by all packs: whoever counts
crossings over packs must count within a draw (`chance_by_draw`) and mix afterwards, or the count looks too sure.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.filtering import filtered, grouped
from fleet.core.battery.bend.histories import PLAIN, FadeTests, Histories, lay_out
from fleet.core.battery.bend.next_test import NextTest, TestOutcomes
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.bend.passage import Course, Passage
from fleet.core.battery.bend.rough import ages_reaching, rough_ages

# Least and most probits, from the lowest to the highest asked, at which the law is taken; and how far apart these are.
LEVELS, LEAST_SPREAD = (3, 9), 1.0
# It is taken again, at most so often, for packs where a probit is not so close to what was asked.
MOST_TIMES, CLOSE = 5, 0.02
# The law is held off 0 and 1 by this before its probit is taken.
LEAST_CHANCE = 1e-9
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

    def of(self, rows: IntArray, packs: int) -> "_Part":
        """Return those of `rows` (n,), of the `packs` there are, that are in this part; `row` is their place there."""
        column = np.full(packs, -1)
        column[self.row] = np.arange(len(self.row))
        place = np.flatnonzero(column[rows] >= 0)
        return _Part(place, *self._columns(column[rows[place]]), self.level)

    def _columns(self, at: IntArray) -> tuple[FloatArray, Course]:
        course = self.course
        mean, covariance = (np.take(each, at, axis=-1) for each in (course.mean, course.covariance))
        return np.take(self.weight, at, axis=-1), replace(course, age=course.age[at], mean=mean, covariance=covariance)


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

        Infinity where the chance is not reached by the age `horizon` (P,). The law is taken where it roughly reaches
        what is asked, at ages found from these, and again for packs where it is not yet close; its probit is taken as
        straight in log age between all those.
        """
        probits = special.ndtri(probabilities)
        asked = spread(probits)
        found = np.empty((len(probits), self.packs))
        law, left = self, np.arange(self.packs)
        ages = self._rough_ages(asked, horizon)
        reached = self.probits(ages)
        for _ in range(MOST_TIMES):
            more = np.minimum(ages_reaching(ages, reached, asked), horizon)
            now = law.probits(more)
            ages, reached = _sorted(np.concatenate([ages, more]), np.concatenate([reached, now]))
            found[:, left] = _ages_or_never(ages, reached, probits, horizon)
            apart = now - asked[:, None]
            off = np.flatnonzero(((np.abs(apart) > CLOSE) & ((more < horizon) | (apart > 0))).any(axis=0))
            if not off.size:
                break
            left, horizon, ages, reached = left[off], horizon[off], ages[:, off], reached[:, off]
            law = self.of(left)
        return found

    def of(self, rows: IntArray) -> "FadeOutlook":
        """Return what is known of the packs `rows` (n,), which may stand more than once, as rows 0 to n - 1."""
        parts = (part.of(rows, self.packs) for part in self.parts)
        return replace(self, packs=len(rows), parts=tuple(part for part in parts if len(part.row)))

    def probits(self, ages: FloatArray) -> FloatArray:
        """Return the probits (J, P) of the chances of having crossed by `ages` (J, P)."""
        chance = np.stack([self(age) for age in ages])
        return np.asarray(special.ndtri(np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE)))

    def _rough_ages(self, probits: FloatArray, horizon: FloatArray) -> FloatArray:
        found = np.empty((len(probits), self.packs))
        for part in self.parts:
            share = part.weight / self.draws
            found[:, part.row] = rough_ages(part.course, share, self.level, probits, horizon[part.row])
        return found


def spread(probits: FloatArray) -> FloatArray:
    """Return what the law is asked for, from the lowest of the `probits` (Q,) to the highest and not all too close."""
    wider = max(LEAST_SPREAD - float(probits[-1] - probits[0]), 0.0) / 2
    return np.linspace(probits[0] - wider, probits[-1] + wider, int(np.clip(len(probits), *LEVELS)))


def _ages_or_never(ages: FloatArray, reached: FloatArray, probits: FloatArray, horizon: FloatArray) -> FloatArray:
    """Return the ages (Q, P) that reach the `probits` (Q,), infinity where that is beyond the `horizon` (P,)."""
    found = ages_reaching(ages, reached, probits)
    never = (ages[-1] >= horizon) & (reached.max(axis=0) < probits[:, None])
    return np.where(never | (found > horizon), np.inf, found)


def _sorted(ages: FloatArray, chance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return both in order of each pack's ages (J, P)."""
    order = np.argsort(ages, axis=0, kind="stable")
    return np.take_along_axis(ages, order, axis=0), np.take_along_axis(chance, order, axis=0)


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
