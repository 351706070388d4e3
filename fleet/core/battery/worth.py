"""What one more full test of a pack is worth, before it is made.

A pack that stays in until the following visit costs its chance p of crossing before; one that is replaced costs the
risk limit L (the limit is the chance at which the two are equal, see `decision`). Deciding now costs min(L, p); after a
test with result y it costs min(L, p(y)), so that the test saves, in units of L,

    worth = (min(L, p) - E min(L, p(y))) / L,        p = E p(y),

the expected value of sample information (H. Raiffa, R. Schlaifer, "Applied Statistical Decision Theory" (1961), from
memory). It is never negative, for min is concave; 0 where no result changes the advice; and largest where p is near L
and the test tells much.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fleet.core.battery.arrays import FloatArray, column, first_bad
from fleet.core.errors import BadValueError

# Chances are held off 0 and 1 by this before their probit is taken.
_LEAST_CHANCE = 1e-9


class Outcomes(Protocol):
    """Q possible results of a test for each of P packs, (Q, P), in rising order of the result.

    `fraction` measured; `weight`, its chance, 1 in all; `chance` of crossing by the age asked for, given the result.
    """

    @property
    def fraction(self) -> FloatArray:
        """Return the results (Q, P)."""

    @property
    def weight(self) -> FloatArray:
        """Return the chance of each (Q, P)."""

    @property
    def chance(self) -> FloatArray:
        """Return the chance of crossing given each (Q, P)."""


@dataclass(frozen=True, eq=False)
class TestWorth:
    """For each of P packs (P,), nan where the chances are.

    `worth`: share of the limit that the test saves, 0 to 1. `clears_at`: fraction from which the pack may stay in, nan
    if no result changes the advice. `clears_chance`: chance of such a result, 1 or 0 where none changes it.
    `changes`: chance that the result changes the advice.
    """

    __test__ = False

    worth: FloatArray
    clears_at: FloatArray
    clears_chance: FloatArray
    changes: FloatArray


def worth_of_test(outcomes: Outcomes, limit: ArrayLike) -> TestWorth:
    """Return what the test would settle against the risk limit (P,).

    Where a low result may be a wrong test, the chance can fall again below it: what counts is the highest fraction at
    which the chance passes the limit. Raises BadValueError for tables of unequal shape or a limit outside 0 to 1.
    """
    limits = column(limit, "limit")
    _check(outcomes, limits)
    fraction, weight, chance = outcomes.fraction, outcomes.weight, outcomes.chance
    now = (weight * chance).sum(axis=0)
    after = (weight * np.minimum(chance, limits)).sum(axis=0)
    clears_at, clears_chance = _clearing(fraction, weight, chance, limits)
    clears_chance = np.where(np.isnan(now), np.nan, clears_chance)
    changes = np.where(now > limits, clears_chance, 1 - clears_chance)
    return TestWorth((np.minimum(limits, now) - after) / limits, clears_at, clears_chance, changes)


def _check(outcomes: Outcomes, limit: FloatArray) -> None:
    shapes = {outcomes.fraction.shape, outcomes.weight.shape, outcomes.chance.shape}
    if len(shapes) > 1 or outcomes.chance.ndim != 2 or outcomes.chance.shape[1] != len(limit):  # noqa: PLR2004 - (Q, P)
        message = f"The results have the shapes {sorted(shapes)}; all need results by {len(limit)} packs, one a limit."
        raise BadValueError(message, field="limit")
    first_bad(~((limit > 0) & (limit <= 1)), limit, "limit", "a risk limit is a chance above 0")


def _clearing(
    fraction: FloatArray, weight: FloatArray, chance: FloatArray, limit: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return from which fraction on the chance is within the limit, and the chance of such a result (P,).

    Between two results the probit of the chance is taken as straight, and so is the result's distribution between the
    middles of their weights.
    """
    over = chance > limit
    packs, last = np.arange(len(limit)), len(chance) - 1
    low = np.where(over.any(axis=0), last - np.argmax(over[::-1], axis=0), -1)
    inside = (low >= 0) & (low < last)
    under, above = np.clip(low, 0, last), np.clip(low + 1, 0, last)
    probit = special.ndtri(np.clip(chance, _LEAST_CHANCE, 1 - _LEAST_CHANCE))
    drop = np.maximum(probit[under, packs] - probit[above, packs], _LEAST_CHANCE)
    share = np.clip((probit[under, packs] - special.ndtri(np.clip(limit, 0, 1 - _LEAST_CHANCE))) / drop, 0.0, 1.0)
    at = fraction[under, packs] + share * (fraction[above, packs] - fraction[under, packs])
    middle = np.cumsum(weight, axis=0) - weight / 2
    less = middle[under, packs] + share * (middle[above, packs] - middle[under, packs])
    return np.where(inside, at, np.nan), np.where(inside, 1 - less, np.where(low < 0, 1.0, 0.0))
