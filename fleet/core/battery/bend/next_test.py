"""What one more test would tell: its possible results, and the chance of having crossed given each.

A good plain test at age T reads y = u_T + N(0, s^2). Over draws and branches its result is a mixture of normals. That
is cut into Q pieces at quantiles of the one normal with its mean and variance, those of sin^2(pi k / 2Q), which cuts
finer towards the ends, where chances change most; `weight` is each piece's own chance and `fraction` where in it a
normal result lies on average. Given that result the draws and branches are weighted by its likelihood, each state is
updated by Kalman's step, and the chance of crossing is that of `passage` from T on.

From T on, a path that touched the level before T and rose again is not counted, and a piece is not its middle. So the
chances are moved, most where they are neither 0 nor 1, until their mean is exactly the chance without the test.
Own derivation; tested against quadrature over the numbers and against simulated paths.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.passage import Course

_LEAST = 1e-12


@dataclass(frozen=True, eq=False)
class TestOutcomes:
    """Q possible results of a test of P packs (Q, P): `fraction` read, `weight` of it (1 over Q), `chance` after it."""

    __test__ = False

    fraction: FloatArray
    weight: FloatArray
    chance: FloatArray


@dataclass(frozen=True, eq=False)
class NextTest:
    """A test to come of n packs with states `course` (B, R, n), each of weight `share` (B, R, n), 1 in all.

    `noise` (R, 1): variance of a test. `level`: the crossing asked about.
    """

    course: Course
    share: FloatArray
    noise: FloatArray
    level: float

    def outcomes(self, test_age: FloatArray, asked_age: FloatArray, nodes: int) -> TestOutcomes:
        """Return the results of a test at `test_age` (n,) and the chances of crossing by a later `asked_age` (n,)."""
        share, at_test = self.share, self.course.moved(test_age)
        middle, variance = at_test.mean[0], at_test.covariance[0, 0] + self.noise
        mean = _mixed(share, middle)
        sd = np.sqrt(_mixed(share, variance + (middle - mean) ** 2))
        cuts = np.sin(np.pi / 2 * np.arange(nodes + 1) / nodes) ** 2
        edges = special.ndtri(cuts)
        below = [_mixed(share, special.ndtr((mean + sd * edge - middle) / np.sqrt(variance))) for edge in edges[1:-1]]
        weight = np.diff(np.stack([np.zeros(len(mean)), *below, np.ones(len(mean))]), axis=0)
        fraction = mean - sd * (np.diff(stats.norm.pdf(edges)) / np.diff(cuts))[:, None]
        before = _mixed(share, self.course.chance_passed(asked_age, self.level))
        after = np.stack([self._chance_after(at_test, value, asked_age) for value in fraction])
        return TestOutcomes(fraction, weight, _coherent(after, weight, before))

    def _chance_after(self, at_test: Course, value: FloatArray, asked_age: FloatArray) -> FloatArray:
        variance, miss = at_test.covariance[0, 0] + self.noise, value - at_test.mean[0]
        log_weight = np.log(np.maximum(self.share, _LEAST)) - 0.5 * (miss * miss / variance + np.log(variance))
        weight = np.exp(log_weight - log_weight.max(axis=(0, 1)))
        chance = at_test.given(value, self.noise).chance_passed(asked_age, self.level)
        return np.asarray(_mixed(weight, chance) / weight.sum(axis=(0, 1)))


def _mixed(share: FloatArray, values: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("brn,brn->n", share, values))


def _coherent(chance: FloatArray, weight: FloatArray, before: FloatArray) -> FloatArray:
    """Return the chances (Q, n) moved so that their mean is `before` (n,)."""
    unsure = chance * (1 - chance)
    short = before - _mean(weight, chance)
    near = chance + unsure * np.clip(short / np.maximum(_mean(weight, unsure), _LEAST), -1.0, 1.0)
    mean = _mean(weight, near)
    lower = near * np.minimum(before / np.maximum(mean, _LEAST), 1.0)
    higher = 1 - (1 - near) * np.minimum((1 - before) / np.maximum(1 - mean, _LEAST), 1.0)
    return np.asarray(np.where(mean > before, lower, higher))


def _mean(weight: FloatArray, values: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("qn,qn->n", weight, values))
