"""How good forecasts of crossings were: scores of laws against truths that are often only known to lie in a range.

A truth is a range of ages [low, high]: equal where the crossing is known exactly, between the last test above the level
and the first below (interval-censored), or with high = infinity where the pack was still above when last seen
(right-censored).

CRPS integrates only where the truth is known,

    CRPS = int_{t < low} F(t)^2 dt + int_{t > high} (1 - F(t))^2 dt,

the survival CRPS of A. Avati, T. Duan, S. Zhou, K. Jung, N. H. Shah, A. Y. Ng, "Countdown regression: sharp and
calibrated survival predictions", UAI (2019) (from memory). For right-censored truths it favours late laws somewhat, so
that it compares ways on one record, and is no absolute measure. For an exact truth it is the CRPS (T. Gneiting, A. E.
Raftery, JASA 102 (2007) 359-378, from memory; there also the interval score).

Coverage comes from ranks: the chance F that a law gave to crossing by the truth, known to lie in [F(low), F(high)] (the
PIT; from F(c) to 1 for a right-censored truth). Their distribution over all forecasts is estimated by EM over CELLS, as
B. W. Turnbull (JRSS B 38 (1976) 290-295, from memory) does for censored data, so that packs not known to have crossed
count as far as they tell; leaving them out would count early crossings too often.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.errors import NotEnoughDataError

#: Chances at which every way gives the age of crossing, so that one scorer serves all.
PROBABILITIES = np.array([0.005, 0.01, 0.025, *np.arange(0.05, 0.96, 0.05), 0.975, 0.99, 0.995]).round(3)
#: Edges of the ranks' histogram: the ends of all intervals that are asked for are among them.
CELLS = np.array([0.0, 0.025, *np.arange(0.05, 0.96, 0.05), 0.975, 1.0]).round(3)
#: Edges of the bins in which a chance is compared with how often it came true.
BINS = np.array([0.0, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0])
EARLY = 0.05
MONTHS = 12.0
# Ranks are taken as no narrower than this, the EM has so many steps, and one even forecast is added to it (own choice).
_NARROWEST, _STEPS, _EVEN = 1e-6, 200, 1.0
_LEAST_SPAN = 1e-12


@dataclass(frozen=True, eq=False)
class CrossingLaws:
    """The laws of P crossings, as points of their distribution functions; straight between them.

    `chance` (K, P) of having crossed by `age` (K, P), both rising; 0 before the first, 1 after the last. Ages in any
    one unit.
    """

    age: FloatArray
    chance: FloatArray

    @classmethod
    def of_quantiles(cls, age: FloatArray, probabilities: FloatArray, latest: FloatArray) -> "CrossingLaws":
        """Return the laws with quantiles `age` (K, P) at `probabilities` (K,); later ones lie at `latest` (P,)."""
        chance = np.broadcast_to(probabilities[:, None], age.shape)
        return cls(np.minimum(age, latest), np.asarray(chance, dtype=np.float64))

    @classmethod
    def joined(cls, parts: Sequence["CrossingLaws"]) -> "CrossingLaws":
        """Return the laws of all parts side by side."""
        none = np.zeros((len(PROBABILITIES), 0))
        ages, chances = [part.age for part in parts], [part.chance for part in parts]
        return cls(np.concatenate([*ages, none], axis=1), np.concatenate([*chances, none], axis=1))

    def of(self, rows: IntArray | BoolArray) -> "CrossingLaws":
        """Return some of the laws."""
        return CrossingLaws(self.age[:, rows], self.chance[:, rows])

    def chance_by(self, age: FloatArray) -> FloatArray:
        """Return the chance (P,) of having crossed by `age` (P,), which may be infinite."""
        span = np.maximum(np.diff(self.age, axis=0), _LEAST_SPAN)
        share = np.clip((age - self.age[:-1]) / span, 0.0, 1.0)
        rising = (np.diff(self.chance, axis=0) * share).sum(axis=0)
        first = np.where(age >= self.age[0], self.chance[0], 0.0)
        return np.asarray(np.where(age >= self.age[-1], 1.0, first + rising))

    def quantile(self, probability: float) -> FloatArray:
        """Return the age (P,) by which each has crossed with chance `probability`, kept within the ages given."""
        at = np.count_nonzero(self.chance < probability, axis=0)
        high, rows = np.clip(at, 1, len(self.age) - 1), np.arange(self.age.shape[1])
        under, over = self.chance[high - 1, rows], self.chance[high, rows]
        share = np.clip((probability - under) / np.maximum(over - under, _LEAST_SPAN), 0.0, 1.0)
        return np.asarray(self.age[high - 1, rows] + share * (self.age[high, rows] - self.age[high - 1, rows]))


def crps(laws: CrossingLaws, low: FloatArray, high: FloatArray) -> FloatArray:
    """Return the CRPS (P,) against truths in [low, high] (P,), in the unit of the ages; see the module's text."""
    before = _squares(laws.age, laws.chance, np.full_like(low, -np.inf), low)
    before = before + np.maximum(low - laws.age[-1], 0.0)
    after = _squares(laws.age, 1 - laws.chance, high, np.full_like(high, np.inf))
    return np.asarray(before + after + np.maximum(laws.age[0] - high, 0.0))


def _squares(age: FloatArray, height: FloatArray, first: FloatArray, last: FloatArray) -> FloatArray:
    """Return the integral (P,) of the squared height, straight between the ages, from `first` to `last` (P,)."""
    begin, end = (np.clip(np.clip(each, first, last), age[:-1], age[1:]) for each in (age[:-1], age[1:]))
    slope = np.diff(height, axis=0) / np.maximum(np.diff(age, axis=0), _LEAST_SPAN)
    a, b = height[:-1] + slope * (begin - age[:-1]), height[:-1] + slope * (end - age[:-1])
    return np.asarray(((end - begin) * (a * a + a * b + b * b) / 3).sum(axis=0))


def interval_score(low: FloatArray, high: FloatArray, truth: FloatArray, alpha: float) -> FloatArray:
    """Return (u - l) + 2/a (l - y)+ + 2/a (y - u)+ of intervals that should miss with chance `alpha`; all (P,)."""
    missed = np.maximum(low - truth, 0.0) + np.maximum(truth - high, 0.0)
    return np.asarray(high - low + 2 / alpha * missed)


def ranks(laws: CrossingLaws, low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the least and the greatest chance (P,) that each law gave to crossing by the truth in [low, high]."""
    return laws.chance_by(low), laws.chance_by(high)


def rank_shares(low: FloatArray, high: FloatArray) -> FloatArray:
    """Return the share (len(CELLS),) of ranks up to each edge of CELLS, from ranks in [low, high] (N,)."""
    width = np.diff(CELLS)
    begin = np.minimum(low, 1 - _NARROWEST)
    end = np.maximum(high, begin + _NARROWEST)
    inside = np.clip(np.minimum(end[:, None], CELLS[1:]) - np.maximum(begin[:, None], CELLS[:-1]), 0.0, None) / width
    share = width.copy()
    for _ in range(_STEPS):
        likely = inside * share
        found = (likely / likely.sum(axis=1, keepdims=True)).sum(axis=0) + _EVEN * width
        share = found / found.sum()
    return np.append(0.0, np.cumsum(share))


@dataclass(frozen=True)
class Score:
    """How good some forecasts were. Times in months; shares 0 to 1.

    `forecasts` of `packs` different packs, of which `known` crossings are known. `crps`, and `crps_known` of known
    crossings alone (None without any). `within_50`, `_80`, `_95`: of
    the crossings inside the forecast's interval (None for a way that gives no interval). `off`: mean by which the
    middle date certainly missed, positive where it came too late; `off_size` without sign. `early`: share that crossed
    before the 5 % date. `failed`, `wasted`: had each pack been replaced on the day its chance of having crossed reached
    `limit`, the share that would have crossed before, and the months of life given away (at least).
    """

    forecasts: int
    packs: int
    known: int
    crps: float
    crps_known: float | None
    within_50: float | None
    within_80: float | None
    within_95: float | None
    off: float
    off_size: float
    early: float
    failed: float
    wasted: float


@dataclass(frozen=True)
class Truths:
    """What is known of N crossings: they lie in [`low`, `high`] (N,), years; `pack` (N,) tells the packs apart."""

    low: FloatArray
    high: FloatArray
    pack: IntArray


def score(laws: CrossingLaws, truths: Truths, *, limit: float = 0.1, band: bool = True) -> Score:
    """Score N laws (ages in years) against their truths. Raises NotEnoughDataError where there are none.

    `limit` is taken to the nearest edge of CELLS for `failed`. `band`: whether the way gives intervals.
    """
    low, high, pack = truths.low, truths.high, truths.pack
    if not len(low):
        raise NotEnoughDataError("There are no forecasts to score.")
    rank_low, rank_high = ranks(laws, low, high)
    shares = rank_shares(rank_low, rank_high)
    apart, known = MONTHS * crps(laws, low, high), np.isfinite(high)
    middle, due = laws.quantile(0.5), laws.quantile(limit)
    late, soon = np.maximum(middle - high, 0.0), np.maximum(low - middle, 0.0)
    within = [_between(shares, width) if band else None for width in (0.5, 0.8, 0.95)]
    return Score(
        forecasts=len(low),
        packs=len(np.unique(pack)),
        known=len(np.unique(pack[known])),
        crps=float(apart.mean()),
        crps_known=float(apart[known].mean()) if known.any() else None,
        within_50=within[0],
        within_80=within[1],
        within_95=within[2],
        off=MONTHS * float((late - soon).mean()),
        off_size=MONTHS * float((late + soon).mean()),
        early=_upto(shares, EARLY),
        failed=_upto(shares, limit),
        wasted=MONTHS * float(np.maximum(low - due, 0.0).mean()),
    )


def _upto(shares: FloatArray, rank: float) -> float:
    return float(shares[int(np.argmin(np.abs(CELLS - rank)))])


def _between(shares: FloatArray, width: float) -> float:
    return _upto(shares, (1 + width) / 2) - _upto(shares, (1 - width) / 2)


@dataclass(frozen=True)
class Bin:
    """Forecasts that said a chance from `low` to `high`.

    How many `packs`, their mean chance `said`, how often it `came` true, and the range `least` to `most` that the true
    share lies in nine times in ten.
    """

    low: float
    high: float
    packs: int
    said: float
    came: int
    least: float
    most: float


def reliability(said: FloatArray, came: BoolArray) -> list[Bin]:
    """Return the bins that hold a forecast, of chances `said` (N,) and whether each `came` true (N,).

    The range is Clopper and Pearson's, Biometrika 26 (1934) 404-413 (from memory), at 90 %.
    """
    place = np.clip(np.searchsorted(BINS, said, side="right") - 1, 0, len(BINS) - 2)
    found = []
    for at in np.unique(place):
        mine = place == at
        packs, times = int(mine.sum()), int(came[mine].sum())
        least = float(special.betaincinv(times, packs - times + 1, 0.05)) if times else 0.0
        most = float(special.betaincinv(times + 1, packs - times, 0.95)) if times < packs else 1.0
        found.append(Bin(float(BINS[at]), float(BINS[at + 1]), packs, float(said[mine].mean()), times, least, most))
    return found
