"""When a bending, wandering fade passes a level for the first time: closed form, given the state at the last test.

At age t0 the gap to the level is d0 = u - D and the pack's own fade b, jointly normal. At t = t0 + h the gap is

    d1 = d0 - b h - c (t^p - t0^p) + kappa (W(t) - W(t0)),   mean m, variance V.

Between two gaps above zero a Wiener path of variance k^2 a year touches zero with chance exp(-2 d0 d1 / (k^2 h)),
whatever its drift. Hence P(T > t) = E[(1 - exp(-2 d0 d1 / (k^2 h))); d0 > 0, d1 > 0]; given d0, with l = 2 d0 / (k^2 h)
and m, V those of d1 given d0,

    P(T <= t | d0) = Phi(-m / sqrt V) + exp(-m^2 / 2V) erfcx((l V - m) / sqrt(2V)) / 2.

Where the gap today is clear (CLEAR standard deviations from zero), d0 in l is held at its mean given d1 = 0 and the
rest is the same with d1's own m and V: off by less than 0.005. Elsewhere the form is averaged over NODES values of d0
> 0. For c > 0 the path runs a little above its chord, so that the chance is a little too high. A fixed gap and fade
without bend give the exact inverse Gaussian law.

Before t0 the path is taken backwards from the state at t0, without the tests between: P(T <= t) is at most the chance
of being below at t0, and nothing there is better than rough.

Sources: bridge crossing, e.g. I. Karatzas, S. E. Shreve, "Brownian Motion and Stochastic Calculus" (1991), 4.3.40 (from
memory); holding d0 at its mean: own derivation.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray

# Variance added to every gap, as in `crossing`: outweighs rounding, moves no crossing by a minute.
_LEAST_VARIANCE = 1e-14
_LEAST_CHANCE = 1e-300
_SQRT2 = float(np.sqrt(2.0))
CLEAR = 3.0
# A clear gap is taken not to have been smaller than this share of its mean, whatever came later.
_LEAST_SHARE = 0.25
NODES = 6
_POINTS, _POINT_WEIGHTS = np.polynomial.legendre.leggauss(NODES)
_NODES, _WEIGHTS = (1 - _POINTS) / 2, _POINT_WEIGHTS / 2


@dataclass(frozen=True, eq=False)
class Course:
    """What is known of fades at `age` (years): `mean` (3, ...), `covariance` (3, 3, ...) of u, b and g.

    `bend` c, `power` p and `stray` kappa^2 of the type; all broadcast to (...).
    """

    age: FloatArray
    mean: FloatArray
    covariance: FloatArray
    bend: FloatArray
    power: FloatArray
    stray: FloatArray

    def moments(self, age: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return mean and variance of the true fraction at `age`, and its covariance with that at `self.age`."""
        c, step = self.covariance, age - self.age
        bent = self.bend * (age**self.power - self.age**self.power)
        mean = self.mean[0] - step * self.mean[1] - bent * self.mean[2]
        shared = c[0, 0] - step * c[0, 1] - bent * c[0, 2]
        own = step * (step * c[1, 1] + 2 * bent * c[1, 2]) + bent * bent * c[2, 2]
        variance = 2 * shared - c[0, 0] + own + self.stray * np.abs(step)
        return mean, np.maximum(variance, _LEAST_VARIANCE), shared

    def moved(self, age: FloatArray) -> "Course":
        """Return what is known of the fades at a later `age`."""
        c, step = self.covariance, age - self.age
        bent = self.bend * (age**self.power - self.age**self.power)
        mean, covariance = self.mean.copy(), c.copy()
        mean[0], covariance[0, 0], _ = self.moments(age)
        for own in (1, 2):
            covariance[0, own] = covariance[own, 0] = c[0, own] - step * c[1, own] - bent * c[2, own]
        return replace(self, age=age, mean=mean, covariance=covariance)

    def given(self, value: FloatArray, noise: FloatArray) -> "Course":
        """Return what is known once a test of variance `noise` has read `value` at `self.age`."""
        gain = self.covariance[:, 0] / (self.covariance[0, 0] + noise)
        covariance = self.covariance - gain[:, None] * self.covariance[None, 0]
        return replace(self, mean=self.mean + gain * (value - self.mean[0]), covariance=covariance)

    def chance_passed(self, age: FloatArray, level: float) -> FloatArray:
        """Return the chance of having been at or below `level` at some age up to `age`."""
        mean, variance, shared = self.moments(age)
        gap, sd, gap_now = mean - level, np.sqrt(variance), self.mean[0] - level
        variance_now = np.maximum(self.covariance[0, 0], _LEAST_VARIANCE)
        ahead = age - self.age
        chance = special.ndtr(-gap / sd)
        now = special.ndtr(-gap_now / np.sqrt(variance_now))
        if not np.all(ahead >= 0):
            chance = np.where(ahead < 0, np.minimum(chance, now), chance)
        stray = np.maximum(self.stray * ahead, _LEAST_VARIANCE)
        rate = 2 * np.maximum(gap_now - shared * gap / variance, _LEAST_SHARE * np.abs(gap_now)) / stray
        chance = np.where(ahead > 0, np.maximum(chance + _touching(gap, variance, sd, rate), now), chance)
        near = (np.abs(gap_now) < CLEAR * np.sqrt(variance_now)) & (ahead > 0)
        if near.any():
            parts = (gap_now, variance_now, gap, variance, shared, stray)
            chance[near] = _near(np.stack([np.broadcast_to(part, near.shape)[near] for part in parts]))
        return np.minimum(chance, 1.0)


def _near(gaps: FloatArray) -> FloatArray:
    """Return the chance (N,) averaged over the gap now.

    `gaps` (6, N): mean and variance of the gap now, the same then, their covariance, and the straying in between.
    """
    gap_now, variance_now, gap, variance, shared, stray = gaps
    sd = np.sqrt(variance_now)
    above = special.ndtr(gap_now / sd)
    chance = 1 - above
    slope = shared / variance_now
    rest = np.maximum(variance - slope * shared, stray)
    rest_sd = np.sqrt(rest)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        now = gap_now - sd * special.ndtri(np.maximum(above * node, _LEAST_CHANCE))
        then = gap + slope * (now - gap_now)
        rate = 2 * np.maximum(now, 0.0) / stray
        chance = chance + weight * above * (special.ndtr(-then / rest_sd) + _touching(then, rest, rest_sd, rate))
    return np.asarray(chance)


def _touching(gap: FloatArray, variance: FloatArray, sd: FloatArray, rate: FloatArray) -> FloatArray:
    """Return E[exp(-rate d); d > 0] for d normal with mean `gap`; erfcx beyond -25 is nothing times its factor."""
    root = np.maximum((rate * variance - gap) / (sd * _SQRT2), -25.0)
    return np.asarray(0.5 * np.exp(-0.5 * gap * gap / variance) * special.erfcx(root))
