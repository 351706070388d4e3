"""When a bending, wandering fade passes a level for the first time: closed form, given the state at the last test.

At age t0 the gap to the level is d0 = u - D and the pack's own fade b, jointly normal. At t = t0 + h the gap is

    d1 = d0 - b h - c (t^p - t0^p) + kappa (W(t) - W(t0)),   mean m, variance V.

Between two gaps above zero a Wiener path of variance k^2 a year touches zero with chance exp(-2 d0 d1 / (k^2 h)),
whatever its drift. Hence P(T > t) = E[(1 - exp(-2 d0 d1 / (k^2 h))); d0 > 0, d1 > 0]; given d0, with l = 2 d0 / (k^2 h)
and m, V those of d1 given d0,

    P(T <= t | d0) = Phi(-m / sqrt V) + exp(-m^2 / 2V) erfcx((l V - m) / sqrt(2V)) / 2.

Where the gap today is clear (over CLEAR standard deviations), d0 in l is held at its mean given d1 = 0 and the rest is
the same with d1's own m and V: off by less than 0.005. Elsewhere the form is averaged over NODES values of d0 > 0. For
c > 0 the path runs a little above its chord, so that the chance is a little too high. A fixed gap and fade without bend
give the exact inverse Gaussian law.

Before t0 the path is taken backwards from the state at t0, without the tests between: P(T <= t) is at most the chance of
being below at t0, and nothing there is better than rough.

Sources: bridge crossing, e.g. I. Karatzas, S. E. Shreve, "Brownian Motion and Stochastic Calculus" (1991), 4.3.40 (from
memory); the reduction to d*: own derivation.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy import special

from fleet.core.battery.arrays import BoolArray, FloatArray

# Variance added to every gap, as in `crossing`: outweighs rounding, moves no crossing by a minute.
_LEAST_VARIANCE = 1e-14
_LEAST_CHANCE = 1e-300
_SQRT2 = float(np.sqrt(2.0))
CLEAR = 3.0
NODES = 8
_POINTS, _POINT_WEIGHTS = np.polynomial.legendre.leggauss(NODES)
_NODES, _WEIGHTS = (1 - _POINTS) / 2, _POINT_WEIGHTS / 2


@dataclass(frozen=True, eq=False)
class Course:
    """What is known of fades at `age` (years): means and covariance of level u and fade b; arrays that broadcast.

    `bend` c, `power` p and `stray` kappa^2 of the type.
    """

    age: FloatArray
    level: FloatArray
    fade: FloatArray
    level_variance: FloatArray
    covariance: FloatArray
    fade_variance: FloatArray
    bend: FloatArray
    power: FloatArray
    stray: FloatArray

    def moments(self, age: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean and variance of the true fraction at `age`."""
        step = age - self.age
        mean = self.level - step * self.fade - self.bend * (age**self.power - self.age**self.power)
        variance = self.level_variance - step * (2 * self.covariance - step * self.fade_variance)
        return mean, np.maximum(variance + self.stray * np.abs(step), _LEAST_VARIANCE)

    def chance_passed(self, age: FloatArray, level: float) -> FloatArray:
        """Return the chance of having been at or below `level` at some age up to `age`."""
        mean, variance = self.moments(age)
        gap, sd = mean - level, np.sqrt(variance)
        ahead = age - self.age
        chance = special.ndtr(-gap / sd)
        now_sd = np.sqrt(np.maximum(self.level_variance, _LEAST_VARIANCE))
        now = special.ndtr((level - self.level) / now_sd)
        if not np.all(ahead >= 0):
            chance = np.where(ahead < 0, np.minimum(chance, now), chance)
        chance = chance + self._touch(ahead, gap, variance, sd, level)
        near = (self.level - level < CLEAR * now_sd) & (ahead > 0)
        if near.any():
            chance[near] = self._chosen(near).chance_near(np.broadcast_to(age, near.shape)[near], level)
        return np.minimum(chance, 1.0)

    def _touch(
        self, ahead: FloatArray, gap: FloatArray, variance: FloatArray, sd: FloatArray, level: float
    ) -> FloatArray:
        shared = self.level_variance - ahead * self.covariance
        first = np.maximum(self.level - level - shared * gap / variance, 0.0)
        rate = 2 * first / np.maximum(self.stray * ahead, _LEAST_VARIANCE)
        return np.where(ahead > 0, _touching(gap, variance, sd, rate), 0.0)

    def chance_near(self, age: FloatArray, level: float) -> FloatArray:
        """Return the same for `age` (N,) after `self.age`, averaged over the gap today; all arrays (N,)."""
        sd = np.sqrt(np.maximum(self.level_variance, _LEAST_VARIANCE))
        above = special.ndtr((self.level - level) / sd)
        chance = 1 - above
        slope = self.covariance / sd**2
        fade_variance = np.maximum(self.fade_variance - slope * self.covariance, 0.0)
        step = age - self.age
        stray = np.maximum(self.stray * step, _LEAST_VARIANCE)
        bent = self.bend * (age**self.power - self.age**self.power)
        for node, weight in zip(_NODES, _WEIGHTS, strict=True):
            level_now = self.level - sd * special.ndtri(np.maximum(above * node, _LEAST_CHANCE))
            fade = self.fade + slope * (level_now - self.level)
            gap = level_now - level - step * fade - bent
            variance = fade_variance * step**2 + stray
            rate = 2 * np.maximum(level_now - level, 0.0) / stray
            touched = special.ndtr(-gap / np.sqrt(variance)) + _touching(gap, variance, np.sqrt(variance), rate)
            chance = chance + weight * above * touched
        return np.asarray(chance)

    def _chosen(self, which: BoolArray) -> "Course":
        values = (getattr(self, each.name) for each in fields(self))
        return Course(*(np.broadcast_to(value, which.shape)[which] for value in values))


def _touching(gap: FloatArray, variance: FloatArray, sd: FloatArray, rate: FloatArray) -> FloatArray:
    """Return E[exp(-rate d); d > 0] for d normal with mean `gap`; erfcx beyond -25 is nothing times its factor."""
    root = np.maximum((rate * variance - gap) / (sd * _SQRT2), -25.0)
    return np.asarray(0.5 * np.exp(-0.5 * gap * gap / variance) * special.erfcx(root))
