"""The law of a count over many independent slots, each of which counts 0, 1, 2, ... with chances of its own.

A slot that reaches n with chance q_n = P(N >= n) has, with s = exp(iw), the characteristic function

    E s^N = 1 + (s - 1) (q_1 + q_2 s + q_3 s^2 + ...),

and the sum over slots the product of these. The count lies among L numbers around its mean but for a chance of 3e-11
(Bernstein's inequality), so that its law there is the inverse discrete Fourier transform of the product at
w = 2 pi k / L. As |E s^N|^2 <= 1 - 2 v (1 - cos w) with v = sum_n P(N = n) P(N = n + 1), the product is under
exp(-V (1 - cos w)), V the sum of all v; where that is under exp(-40) it counts as zero. For slots that count at most 1
this is the Poisson-binomial law (Y. Hong, "On computing the distribution function for the Poisson binomial
distribution", Computational Statistics and Data Analysis 59 (2013) 41-51, from memory); window and cut are own
derivations.

Many slots are taken in groups of nearly the same mean: n slots of a group count as n slots of its average law. The
count's mean stays exact; its variance grows by that of the means within groups.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from fleet.core.battery.arrays import FloatArray, IntArray

# Chances under this are cut off the ends of a law.
_LEAST_CHANCE = 1e-14
_NEGLIGIBLE_EXPONENT = 40.0
# So that an empty or impossible factor has a logarithm.
_TINY = 1e-300
# A quantile is not pushed up by rounding in the sum under it.
_ROUNDING = 1e-11


@dataclass(frozen=True, eq=False)
class CountLaw:
    """The law of a count: `chance` (S,) of `first`, `first` + 1, ..."""

    first: int
    chance: FloatArray

    @property
    def mean(self) -> float:
        """Return the expected count."""
        return float(self.first + self.chance @ np.arange(len(self.chance)))

    @property
    def sd(self) -> float:
        """Return the standard deviation of the count."""
        steps = np.arange(len(self.chance)) - (self.mean - self.first)
        return float(np.sqrt(self.chance @ steps**2))

    def cdf(self, count: int) -> float:
        """Return the chance of `count` or less."""
        return float(self.chance[: max(count - self.first + 1, 0)].sum())

    def quantiles(self, chances: FloatArray) -> IntArray:
        """Return the least counts (Q,) that are not exceeded with each of the chances (Q,)."""
        at = np.searchsorted(np.cumsum(self.chance), np.asarray(chances) - _ROUNDING)
        return np.asarray(self.first + np.minimum(at, len(self.chance) - 1), dtype=np.int64)

    def plus(self, other: "CountLaw") -> "CountLaw":
        """Return the law of the sum of two independent counts."""
        return _law(self.first + other.first, signal.convolve(self.chance, other.chance))


@dataclass(frozen=True, eq=False)
class Slots:
    """Slots within R draws: `reached` (R, K, B), the chance of counting 1, 2, ..., K at least.

    `number` (R, B): how many slots each column stands for; None where each stands for itself.
    """

    reached: FloatArray
    number: FloatArray | None = None

    def total(self, each: FloatArray) -> FloatArray:
        """Return the sum (R,) over the slots of `each` (R, B)."""
        return np.asarray((each if self.number is None else each * self.number).sum(axis=1))


def count_law(slots: Slots) -> CountLaw:
    """Return the law of the count over all slots: independent within a draw, draws mixed with equal weight."""
    draws, most, columns = slots.reached.shape
    mean, variance, adjacent = _moments(slots)
    slots_at_most = columns if slots.number is None else int(np.rint(slots.number.sum(axis=1).max()))
    reach = 17.0 * most + 7.1 * np.sqrt(variance)
    first = np.maximum(np.floor(mean - reach), 0.0).astype(np.int64)
    length = min(int(np.ceil((mean + reach - first).max())), slots_at_most * most) + 1
    if length == slots_at_most * most + 1:
        first[:] = 0
    length = int(fft.next_fast_len(length, real=True))
    angle = 2 * np.pi * np.arange(length // 2 + 1) / length
    angle = angle[adjacent.min() * (1 - np.cos(angle)) <= _NEGLIGIBLE_EXPONENT]
    transform = np.conj(_characteristic(slots, angle) * np.exp(-1j * first[:, None] * angle))
    chance = fft.irfft(transform, n=length, axis=1)
    lowest = int(first.min())
    mixed = np.zeros(int(first.max()) - lowest + length)
    for start, law in zip(first - lowest, chance, strict=True):
        mixed[start : start + length] += law
    return _law(lowest, mixed / draws)


def _moments(slots: Slots) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean, variance and the module's V of the count, each (R,)."""
    reached = slots.reached
    mean = reached.sum(axis=1)
    odd = 2.0 * np.arange(reached.shape[1]) + 1
    variance = np.einsum("k,rkb->rb", odd, reached) - mean**2
    chance = -np.diff(reached, axis=1, prepend=1.0, append=0.0)
    adjacent = (chance[:, 1:] * chance[:, :-1]).sum(axis=1)
    return slots.total(mean), slots.total(np.maximum(variance, 0.0)), slots.total(adjacent)


def _characteristic(slots: Slots, angle: FloatArray) -> NDArray[np.complex128]:
    """Return the characteristic function (R, F) of the count within each draw at `angle` (F,)."""
    turn = np.exp(1j * angle)
    factor = np.zeros((*slots.reached.shape[::2], len(angle)), dtype=np.complex128)
    for reached in slots.reached.swapaxes(0, 1)[::-1]:
        factor *= turn
        factor += reached[:, :, None]
    factor *= turn - 1
    factor += 1
    if slots.number is None:
        return np.asarray(factor.prod(axis=1))
    return np.asarray(np.exp(np.einsum("rb,rbf->rf", slots.number, np.log(factor + _TINY))))


def _law(first: int, chance: FloatArray) -> CountLaw:
    seen = np.flatnonzero(chance > _LEAST_CHANCE)
    kept = np.maximum(chance[seen[0] : seen[-1] + 1], 0.0)
    return CountLaw(first + int(seen[0]), kept / kept.sum())
