"""When a pack's true fraction passes the replacement level.

For a pack whose line y(t) = a - b t has (a, b) normal with mean (m_a, m_b) and covariance S,

    P(y(t) <= D) = Phi((D - m(t)) / sqrt(v(t))),   m = m_a - m_b t,   v = S_aa - 2 t S_ab + t^2 S_bb.

That is the chance of being below the level at age t, not of having passed it: a line with b < 0 rises, and the form
then falls with t. The crossing T counted here is the first passage after today t0 for a line above the level today,
and the passage behind it for one below; a line is below between any two ages at which it is below, so that

    P(T <= t) = 1 - P(y(t0) > D, y(t) > D)   for t >= t0,
    P(T <= t) = P(y(t0) <= D, y(t) <= D)     for t < t0,

which rises with t always, is P(y(t0) <= D) at t0, and equals the first form where no slope may be negative.

Units: years of age of the pack. Source of the first form: W. Q. Meeker and L. A. Escobar, "Statistical Methods for
Reliability Data" (1998), chapter 13 (from memory); the monotone form is an own derivation.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.fade import FadePosterior
from fleet.core.battery.normal import bivariate_normal_cdf

# A law of crossing times: ages (P,) to the chance (P,) that each pack has crossed by then, never falling with age.
# `crossing_quantile` needs no more; a model with a bend or a drift only has to give this.
CrossingLaw = Callable[[FloatArray], FloatArray]

# Added to every line's start, as an independent error of 1e-7 of the rated runtime, so that a line known exactly has a
# law too. It outweighs rounding in the variance and moves no crossing by a minute.
_LEAST_VARIANCE = 1e-14
_BISECTIONS = 32


def chance_below_at(posterior: FadePosterior, level: float, age_years: FloatArray) -> FloatArray:
    """Return the chance (P,) that the true fraction is at or under `level` at `age_years` (P,)."""
    sd = np.sqrt(_covariance(posterior, age_years, age_years))
    return np.asarray(special.ndtr((level - posterior.fraction_at(age_years)) / sd))


@dataclass(frozen=True, eq=False)
class LineCrossing:
    """The law of T for P packs: call it with ages (P,). `age_today` (P,) is t0 in the module's text, in years."""

    posterior: FadePosterior
    level: float
    age_today: FloatArray

    def __call__(self, age_years: FloatArray) -> FloatArray:
        """Return P(T <= age) for each pack."""
        line, now = self.posterior, self.age_today
        now_sd, then_sd = (np.sqrt(np.maximum(_covariance(line, t, t), _LEAST_VARIANCE)) for t in (now, age_years))
        today = (self.level - line.fraction_at(now)) / now_sd
        then = (self.level - line.fraction_at(age_years)) / then_sd
        correlation = _covariance(line, now, age_years) / (now_sd * then_sd)
        sign = np.where(age_years < now, 1.0, -1.0)
        both = bivariate_normal_cdf(sign * today, sign * then, correlation)
        return np.asarray(np.where(sign > 0, both, 1 - both))


def crossing_quantile(law: CrossingLaw, probability: float, horizon: FloatArray) -> FloatArray:
    """Return the age (P,) by which each pack has crossed with chance `probability`.

    0 where that chance is reached when new already; infinity where it is not reached by the age `horizon` (P,):
    "not within the horizon", which is not a promise that it never will.
    """
    low, high = np.zeros_like(horizon), horizon.copy()
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        reached = law(middle) >= probability
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    at_once = law(np.zeros_like(horizon)) >= probability
    in_time = law(horizon) >= probability
    return np.asarray(np.select([at_once, in_time], [np.zeros_like(high), high], np.inf))


def _covariance(posterior: FadePosterior, age_years: FloatArray, other_age_years: FloatArray) -> FloatArray:
    return np.asarray(posterior.fraction_covariance(age_years, other_age_years) + _LEAST_VARIANCE)
