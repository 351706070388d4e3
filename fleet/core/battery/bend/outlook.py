"""When the packs of a type cross the level: a mixture over the drawn numbers, and over good and wrong tests.

Each draw of the type's numbers gives each pack one normal state, or several where a test is in doubt. The chance of
having crossed is their weighted mean; quantiles come from it by bisection. Draws are shared by all packs: whoever counts
crossings over packs must count within a draw (`chance_by_draw`) and mix afterwards, or the count looks too sure.
"""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.filtering import filtered, grouped
from fleet.core.battery.bend.histories import Histories
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.battery.bend.passage import Course

_BISECTIONS = 16


@dataclass(frozen=True, eq=False)
class _Part:
    """Packs at `row` (n,) with as many normals each: `weight` (B, R, n), 1 over B; `course` the same shape."""

    row: IntArray
    weight: FloatArray
    course: Course


@dataclass(frozen=True, eq=False)
class FadeOutlook:
    """What is known of P packs' fades and crossings of `level`, given R draws of the type's numbers.

    Called with ages (P,) it is a `CrossingLaw`. Before a pack's last test it is rough: see `passage`.
    """

    level: float
    packs: int
    draws: int
    parts: tuple[_Part, ...]

    def __call__(self, age_years: FloatArray) -> FloatArray:
        """Return the chance (P,) that each pack has crossed by `age_years` (P,)."""
        return np.asarray(self.chance_by_draw(age_years).mean(axis=0))

    def chance_by_draw(self, age_years: FloatArray) -> FloatArray:
        """Return the same within each draw (R, P)."""
        chance = np.zeros((self.draws, self.packs))
        for part in self.parts:
            passed = part.course.chance_passed(age_years[part.row], self.level)
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

    def crossing_age(self, probability: float, horizon: FloatArray) -> FloatArray:
        """Return the age (P,) by which each pack has crossed with chance `probability`; infinity beyond `horizon`."""
        low, high = np.zeros(self.packs), horizon.astype(np.float64)
        for _ in range(_BISECTIONS):
            middle = (low + high) / 2
            reached = self(middle) >= probability
            low, high = np.where(reached, low, middle), np.where(reached, middle, high)
        at_once, in_time = self(np.zeros(self.packs)) >= probability, self(horizon) >= probability
        return np.asarray(np.select([at_once, in_time], [0.0 * high, high], np.inf))


def outlook(histories: Histories, draws: FadeNumbers, level: float) -> FadeOutlook:
    """Return the outlook of the packs in `histories` (in the caller's rows) under drawn numbers of their type."""
    parts = tuple(_part(group, draws, branches) for group, branches in grouped(histories, draws))
    return FadeOutlook(level, len(histories), len(draws), parts)


def _part(group: Histories, draws: FadeNumbers, branches: int) -> _Part:
    states = filtered(group, draws, branches=branches)
    course = Course(
        age=states.age,
        mean=states.mean,
        covariance=states.covariance,
        bend=draws.bend[:, None],
        power=draws.power[:, None],
        stray=draws.stray[:, None],
    )
    return _Part(group.row, states.weight, course)
