"""The numbers of a type's fade, the scale they are estimated on, and what is assumed of them beforehand.

The scale is free of constraints and of the unit of time: times in lives, a life being the time in which a pack of the
type roughly loses a fifth of its runtime. In order:

    a0, log b0, log sd_a, log(sd_b / b0), artanh rho, log s, log kappa, log c, log(p - 1), log sd_c, logit pi,
    charge, cycles, log phi_1, log phi_2

The priors are normal there, wide, and this project's own assumption ("assumed"), not measured on any fleet: a new pack
carries its rating within 5 %; a life's straight fade is 0.12 within a factor of 2 (one standard deviation); packs
differ by 2 % when new and a quarter in fade; a test repeats to 2 %; a pack strays by 2 % in a life; the bend costs 10 %
in a life within a factor of 5, and its power is 2.5, from 1.6 to 4.7; packs differ by 30 % in it; 4 tests in 100 are
wrong; a test after a charge that was short by a part of its hours reads low by half that part, more or less by 0.3 of
it (a pack is seldom empty when its charge begins, and the last hours add least); the mean fade goes with the power 0.3
of the cycles a year, more or less 0.3 (between age alone, 0, and use alone, 1); a test off in kind (short charge, rate
outside the table) is twice as noisy. Each is within a factor of about 2 unless said.

The bend's size and power were changed after seeing scores. At first it cost 5 % in a life within a factor of 3, with a
power of 2, from 1.5 to 3. The unit of time is itself guessed from the tests, and in young fleets whose knee has not
shown it comes out too long, by a factor of 1.6 in the median of fleets drawn from the prior: what a bend costs in such
a unit is larger and less sure than in a true life. On 40 such fleets of 48 packs the wider prior brought the share of
crossings before the lower 95 % bound from .135 to .083 and the CRPS from .228 to .190 lives; on young invented fleets
with a bend, a mild bend and a kink the shares went from .11, .13, .57 to .07, .10, .53; the CRPS of young straight and
stepped ones rose from .143 and .126 to .154 and .143. The straight fade went from 0.15 to 0.12, so that a new pack's
median life stays where it was. Tried and left: a factor of 5 alone (helps less), a power of 2.5
or 3 alone (worse on straight fades, no help before a kink), a unit of at most 2 or 3 times the age of the oldest test
(helps as much, but calls every very young fleet short-lived). A power of 2.25 was between the two.
Packs differ by at most 40 % in the bend, as a normal bend below 0 would turn fades round and flatten the law: chosen
because laws fell with age, not by a score. Real cells were scored too, after the invented fleets had been: of young
ones .068 crossed before the bound at first, .020 do now, with a CRPS of .074 and .068 lives; of fleets with retired
packs .017 and .020, .052 both. On fleets drawn from the prior whose true unit of time is given the 95 % interval holds
.90: small fleets' numbers are still taken as a little too sure.
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
        np.log(0.12),
        np.log(0.02),
        np.log(0.25),
        0.0,
        np.log(0.02),
        np.log(0.02),
        np.log(0.10),
        np.log(1.5),
        np.log(0.3),
        -3.2,
        0.5,
        0.3,
        np.log(4.0),
        np.log(4.0),
    ]
)
_SD = np.array([0.05, 0.7, 0.7, 0.6, 0.5, 0.7, 0.8, 1.6, 0.9, 0.5, 1.0, 0.3, 0.3, 1.0, 1.0])
# Log of the highest power less 1. Tests can't tell a sharper knee from t^10, and times to such powers overflow.
_SHARPEST = np.log(9.0)
# Log of the most that packs may differ in their bend: beyond, a normal bend turns a fade round in over 1 pack in 160.
_UNLIKEST = np.log(0.4)
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
        bend_spread=np.exp(2 * np.minimum(v[BEND_SD], _UNLIKEST)),
        gross=np.asarray(special.expit(v[GROSS])),
        charge=v[CHARGE],
        cycles=v[CYCLES],
    )
