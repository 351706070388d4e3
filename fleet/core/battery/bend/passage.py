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
from functools import cached_property

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray, IntArray

# Variance added to every gap, as in `crossing`: outweighs rounding, moves no crossing by a minute.
_LEAST_VARIANCE = 1e-14
_LEAST_CHANCE = 1e-300
_LEAST_AGE = 1e-30
_SQRT2, _SQRT_PI = float(np.sqrt(2.0)), float(np.sqrt(np.pi))
_FAR = 6.0
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
        bent = self.bent(age)
        shared = c[0, 0] - step * c[0, 1] - bent * c[0, 2]
        later = c[0, 1] - step * c[1, 1] - bent * c[1, 2], c[0, 2] - step * c[1, 2] - bent * c[2, 2]
        variance = shared - step * later[0] - bent * later[1] + self.stray * np.abs(step)
        return self._middle(step, bent), np.maximum(variance, _LEAST_VARIANCE), shared

    def middle(self, age: FloatArray) -> FloatArray:
        """Return the mean of the true fraction at `age`."""
        return self._middle(age - self.age, self.bent(age))

    def _middle(self, step: FloatArray, bent: FloatArray) -> FloatArray:
        return np.asarray(self.mean[0] - step * self.mean[1] - bent * self.mean[2])

    def bent(self, age: FloatArray) -> FloatArray:
        """Return what a usual bend costs from `self.age` to `age`."""
        return np.asarray(self._bend_until(age) - self._bent)

    def _bend_until(self, age: FloatArray) -> FloatArray:
        """Return c t^p; by exp and log, which is several times faster than a power."""
        return np.asarray(self.bend * np.exp(self.power * np.log(np.maximum(age, _LEAST_AGE))))

    @cached_property
    def _bent(self) -> FloatArray:
        return self._bend_until(self.age)

    def moved(self, age: FloatArray) -> "Course":
        """Return what is known of the fades at a later `age`."""
        c, step = self.covariance, age - self.age
        bent = self.bent(age)
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
        return Passage(self, level)(age)


@dataclass(frozen=True, eq=False)
class Passage:
    """The law of when fades known as `course` pass `level`: what does not depend on the age is computed once."""

    course: Course
    level: float

    def __call__(self, age: FloatArray) -> FloatArray:
        """Return the chance of having been at or below the level at some age up to `age` (as the course)."""
        mean, variance, shared = self.course.moments(age)
        gap, sd, ahead = mean - self.level, np.sqrt(variance), age - self.course.age
        chance = special.ndtr(-gap / sd)
        behind = not np.all(ahead >= 0)
        if behind:
            chance = np.where(ahead < 0, np.minimum(chance, self._below), chance)
        stray = np.maximum(self.course.stray * ahead, _LEAST_VARIANCE)
        held = np.maximum(self._gap - shared * gap / variance, self._least_gap)
        passed = np.maximum(chance + _touching(gap, variance, sd, 2 * held / stray), self._below)
        chance = np.where(ahead > 0, passed, chance) if behind or not np.all(ahead > 0) else passed
        if self._near.size:
            near = [
                np.broadcast_to(each, chance.shape).reshape(-1)[self._near] for each in (gap, variance, shared, stray)
            ]
            averaged = self._averaged(*near)
            if behind or not np.all(ahead > 0):
                here = np.broadcast_to(ahead > 0, chance.shape).reshape(-1)[self._near]
                averaged = np.where(here, averaged, chance.reshape(-1)[self._near])
            chance.reshape(-1)[self._near] = averaged
        return np.minimum(chance, 1.0)

    def _averaged(self, gap: FloatArray, variance: FloatArray, shared: FloatArray, stray: FloatArray) -> FloatArray:
        """Return the chance (N,) averaged over the gap now, of the states near the level."""
        gap_now, variance_now, above, nodes = self._today
        slope = shared / variance_now
        rest = np.maximum(variance - slope * shared, stray)
        rest_sd = np.sqrt(rest)
        then = gap + slope * (nodes - gap_now)
        passed = _WEIGHTS @ (special.ndtr(-then / rest_sd) + _touching(then, rest, rest_sd, 2 * nodes / stray))
        return np.asarray(1 - above + above * passed)

    @cached_property
    def _gap(self) -> FloatArray:
        return np.asarray(self.course.mean[0] - self.level)

    @cached_property
    def _least_gap(self) -> FloatArray:
        return _LEAST_SHARE * np.abs(self._gap)

    @cached_property
    def _sd(self) -> FloatArray:
        return np.asarray(np.sqrt(np.maximum(self.course.covariance[0, 0], _LEAST_VARIANCE)))

    @cached_property
    def _below(self) -> FloatArray:
        """The chance of being below at the last test."""
        return np.asarray(special.ndtr(-self._gap / self._sd))

    @cached_property
    def _near(self) -> IntArray:
        """Places of the states that are not clear of the level, in the flat course."""
        return np.flatnonzero(np.abs(self._gap) < CLEAR * self._sd)

    @cached_property
    def _today(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Of the states near the level: gap now, its variance, chance of being above (N,); gaps averaged (NODES, N)."""
        gap, sd = (each.reshape(-1)[self._near] for each in (self._gap, self._sd))
        above = special.ndtr(gap / sd)
        nodes = gap - sd * special.ndtri(np.maximum(above * _NODES[:, None], _LEAST_CHANCE))
        return gap, sd * sd, above, np.maximum(nodes, 0.0)


def _touching(gap: FloatArray, variance: FloatArray, sd: FloatArray, rate: FloatArray) -> FloatArray:
    """Return E[exp(-rate d); d > 0] for d normal with mean `gap`; erfcx beyond -25 is nothing times its factor."""
    root = np.maximum((rate * variance - gap) / (sd * _SQRT2), -25.0)
    return np.asarray(0.5 * np.exp(-0.5 * gap * gap / variance) * _erfcx(root))


def _erfcx(root: FloatArray) -> FloatArray:
    """Return erfcx; above _FAR, where most are, by its asymptotic series, to 5e-7 of its value and much faster."""
    far = np.maximum(root, _FAR)
    part = 1 / (far * far)
    found = (1 - part * (0.5 - part * (0.75 - part * (1.875 - part * 6.5625)))) / (far * _SQRT_PI)
    near = np.flatnonzero(root < _FAR)
    found.reshape(-1)[near] = special.erfcx(root.reshape(-1)[near])
    return np.asarray(found)
