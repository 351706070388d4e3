"""The numbers of a type's fade, the scale they are estimated on, and what is assumed of them beforehand.

The scale is free of constraints and of the unit of time: times in lives, a life being the time in which a pack of the
type roughly loses a fifth of its runtime. In order:

    a0, log b0, log sd_a, log(sd_b / b0), artanh rho, log s, log kappa, log c, log(p - 1), log sd_c, logit pi,
    charge, cycles, log phi_1, log phi_2

The priors are normal there, wide, and this project's own assumption ("assumed"), not measured on any fleet: a new pack
carries its rating within 5 %; a life's straight fade is 0.15 within a factor of 2 (one standard deviation); packs
differ by 2 % when new and a quarter in fade; a test repeats to 2 %; a pack strays by 2 % in a life; the bend costs 5 %
in a life within a factor of 3, and its power is 2, from 1.5 to 3; packs differ by
30 % in it; 4 tests in 100 are wrong; a test after a charge that was short by a part of its hours reads low by half that
part, more or less by 0.3 of it (a pack is seldom empty when its charge begins, and the last hours add least); the mean
fade goes with the power 0.3 of the cycles a year, more or less 0.3 (between age alone, 0, and use alone, 1); a test off
in kind (short charge, rate outside the table) is twice as noisy. Each is within a factor of about 2 unless said.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.histories import TEST_KINDS
from fleet.core.errors import BadValueError

START, FADE, START_SD, FADE_SD, CORRELATION, NOISE, STRAY, BEND, POWER, BEND_SD, GROSS, CHARGE, CYCLES = range(13)
# The first number of the test kinds other than PLAIN, and how many numbers there are.
KINDS = 13
SIZE = KINDS + TEST_KINDS - 1
_MEAN = np.array(
    [
        1.0,
        np.log(0.15),
        np.log(0.02),
        np.log(0.25),
        0.0,
        np.log(0.02),
        np.log(0.02),
        np.log(0.05),
        0.0,
        np.log(0.3),
        -3.2,
        0.5,
        0.3,
        np.log(4.0),
        np.log(4.0),
    ]
)
_SD = np.array([0.05, 0.7, 0.7, 0.6, 0.5, 0.7, 0.8, 1.1, 0.7, 0.5, 1.0, 0.3, 0.3, 1.0, 1.0])
# Log of the highest power less 1. Tests can't tell a sharper knee from t^10, and times to such powers overflow.
_SHARPEST = np.log(9.0)
# From type to type of one chemistry, on the same scale: what borrowing leaves open.
_BETWEEN_TYPES = np.array([0.02, 0.35, 0.4, 0.3, 0.3, 0.3, 0.4, 0.5, 0.3, 0.3, 0.4, 0.15, 0.15, 0.5, 0.5])


@dataclass(frozen=True, eq=False)
class FadeNumbers:
    """A type's numbers in years and fractions, R sets of them.

    `mean` (2, R) and `spread` (2, 2, R): fraction when new and fade per year between packs. `noise` (kinds, R):
    variance of a good test. `stray` (R,): kappa^2, variance a year. `bend`, `power` (R,): the bend costs g_i c t^p,
    and `bend_spread` (R,) is the variance of g_i about 1. `gross` (R,): pi.
    `charge` (R,): what a missing charge costs a test. `cycles` (R,): the power of the use in the fade.
    """

    mean: FloatArray
    spread: FloatArray
    noise: FloatArray
    stray: FloatArray
    bend: FloatArray
    power: FloatArray
    bend_spread: FloatArray
    gross: FloatArray
    charge: FloatArray
    cycles: FloatArray

    def __len__(self) -> int:
        """Return R."""
        return len(self.bend)

    def of(self, which: slice) -> "FadeNumbers":
        """Return some of the sets."""
        return FadeNumbers(*(getattr(self, each.name)[..., which] for each in fields(self)))


@dataclass(frozen=True, eq=False)
class FadePrior:
    """What is assumed of a type's numbers: `mean` and `sd` (SIZE,) on the module's scale; `life_years`.

    `source` says in words where it is from, for the page; `borrowed`: whether that is other types.
    """

    mean: FloatArray
    sd: FloatArray
    life_years: float
    source: str = "assumed"
    borrowed: bool = False

    def numbers(self, vectors: FloatArray) -> FadeNumbers:
        """Return the numbers that `vectors` (R, as the mean) stand for."""
        return numbers(np.atleast_2d(vectors), self.life_years)


def assumed_prior(life_years: float, *, source: str = "assumed") -> FadePrior:
    """Return the prior for a type of which nothing is known but a rough life, from `source`.

    Raises BadValueError unless the life is a positive number.
    """
    if not (np.isfinite(life_years) and life_years > 0):
        message = f"life_years is {life_years}; it must be a positive number of years."
        raise BadValueError(message, field="life_years")
    return FadePrior(_MEAN, _SD, life_years, source)


def borrowed_prior(
    mode: FloatArray, covariance: FloatArray, life_years: float, *, source: str, widen: float = 1.0
) -> FadePrior:
    """Return the prior of a type that borrows from the fit (mode, covariance) of others.

    `widen`: by how much more such types differ than types of one chemistry.
    """
    return FadePrior(
        mode, np.sqrt(np.diag(covariance) + (widen * _BETWEEN_TYPES) ** 2), life_years, source, borrowed=True
    )


def numbers(vectors: FloatArray, life_years: float) -> FadeNumbers:
    """Return the numbers, in years, that `vectors` (R, SIZE) stand for on the module's scale."""
    v = vectors.T
    fade = np.exp(v[FADE]) / life_years
    start_sd, fade_sd = np.exp(v[START_SD]), np.exp(v[FADE_SD]) * fade
    shared = np.tanh(v[CORRELATION]) * start_sd * fade_sd
    power = 1 + np.exp(np.minimum(v[POWER], _SHARPEST))
    kinds = np.concatenate([np.zeros((1, len(vectors))), v[KINDS:]])
    return FadeNumbers(
        mean=np.stack([v[START], fade]),
        spread=np.stack([start_sd**2, shared, shared, fade_sd**2]).reshape(2, 2, -1),
        noise=np.exp(2 * v[NOISE] + kinds),
        stray=np.exp(2 * v[STRAY]) / life_years,
        bend=np.exp(v[BEND]) / life_years**power,
        power=power,
        bend_spread=np.exp(2 * v[BEND_SD]),
        gross=np.asarray(special.expit(v[GROSS])),
        charge=v[CHARGE],
        cycles=v[CYCLES],
    )
