"""The numbers of a type: estimated by the marginal likelihood of its packs, and drawn, not plugged in.

The mode of (likelihood x prior) is found by BFGS, on some packs first and then on at most MOST_PACKS. Around it the
posterior is taken as normal (Laplace) on the scale of `parameters`. Types of fewer than MANY_PACKS packs get more:
draws from a wider t distribution with that centre and shape are weighted by the true posterior over the proposal, the
largest weights held down, and resampled, because a few packs' posterior is skew.

Numbers that no test speaks of (the noise of a kind that does not occur, what a short charge costs where none was short,
the power of the use where cycles are not counted) are not estimated and not drawn: they are held at their prior mean.

Sources: L. Tierney, J. B. Kadane, JASA 81 (1986) 82-86 (Laplace); E. L. Ionides, "Truncated importance sampling",
JCGS 17 (2008) 295-311; both from memory.
"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.filtering import filtered, grouped
from fleet.core.battery.bend.histories import TEST_KINDS, Histories
from fleet.core.battery.bend.parameters import CHARGE, CYCLES, KINDS, SIZE, FadeNumbers, FadePrior

MOST_PACKS = 5000
MANY_PACKS = 1000
DRAWS, FEW_DRAWS = 32, 8
_FIRST_PACKS = 300
# A first fit on some packs pays only where there are several times as many.
_ENOUGH_TO_START = 3
_STEP = 1e-3
# On the way to the mode slopes are taken forwards, which halves the work.
_FORWARD = 1e-5
# Second differences are taken this many times wider than first ones.
_WIDE = 30
# BFGS stops at this slope, in log posterior per unit of the guessed spread, or after so many steps.
_FLAT, _MOST_STEPS = 0.05, 80
_LEAST_CURVATURE = 0.5
_FREEDOM = 5.0
# Proposals: as many as a type of few packs affords.
_PROPOSALS, _PROPOSAL_CELLS = (300, 1200), 60_000
# Numbers beyond this many prior standard deviations are not looked at: exp() of them is no number of any pack.
_FARTHEST, _NEVER = 6.0, 1e12
# Packs times sets of numbers that go through the filter together: their states fit a processor's cache.
_CELLS = 10_000


@dataclass(frozen=True, eq=False)
class FadeFit:
    """A type's numbers: `mode` and `covariance` on the scale of `parameters`, `draws` (R, same) from their posterior.

    A number that is held has its prior's variance in `covariance` and its prior's mean in each draw.
    `packs` and `tests` it rests on. `effective_draws`: how many of the proposals carried weight (R for a plain
    Laplace).
    """

    prior: FadePrior
    mode: FloatArray
    covariance: FloatArray
    draws: FloatArray
    packs: int
    tests: int
    effective_draws: float

    def numbers(self) -> FadeNumbers:
        """Return the most likely numbers."""
        return self.prior.numbers(self.mode)

    def drawn_numbers(self) -> FadeNumbers:
        """Return the drawn numbers, each as likely as the other."""
        return self.prior.numbers(self.draws)


def fit_fade_numbers(
    histories: Histories, prior: FadePrior, *, draws: int | None = None, seed: int = 1, most_packs: int = MOST_PACKS
) -> FadeFit:
    """Estimate and draw a type's numbers from its packs. With no tests at all the prior itself is drawn from.

    Of more than `most_packs` packs some are picked by `seed`. `draws`: DRAWS unless said, or FEW_DRAWS where MOST_PACKS
    are fitted and the numbers are known so well that more change nothing.
    """
    rng = np.random.default_rng(seed)
    tested = int(histories.active[0]) if len(histories.active) else 0
    sample = _sample(histories, tested, most_packs, rng)
    free = _free(histories)
    draws = draws or (FEW_DRAWS if len(sample) >= MOST_PACKS else DRAWS)
    mode, guess = np.zeros(len(free)), np.eye(len(free))
    if len(sample) > _ENOUGH_TO_START * _FIRST_PACKS:
        mode, guess = _mode(_Posterior(_sample(sample, len(sample), _FIRST_PACKS, rng), prior, free, mode), mode, guess)
        guess = guess * (_FIRST_PACKS / len(sample))
    posterior = _Posterior(sample, prior, free, mode)
    mode, _ = _mode(posterior, mode, guess)
    posterior = _Posterior(sample, prior, free, mode)
    covariance = _covariance(posterior, mode)
    drawn, effective = _draws(posterior, mode, covariance, draws, rng)
    spread = np.eye(len(prior.sd))
    spread[np.ix_(free, free)] = covariance
    return FadeFit(
        prior,
        posterior.vectors(mode[None])[0],
        spread * np.outer(prior.sd, prior.sd),
        posterior.vectors(drawn),
        tested,
        int(histories.active.sum()),
        effective,
    )


def _free(histories: Histories) -> IntArray:
    """Return which numbers the tests or the use of the packs speak of."""
    said = np.ones(SIZE, dtype=np.bool_)
    said[CHARGE], said[CYCLES] = histories.shortfall.any(), histories.use.any()
    said[KINDS:] = [bool((histories.kind == kind).any()) for kind in range(1, TEST_KINDS)]
    return np.flatnonzero(said)


class _Posterior:
    """Log posterior of the `free` numbers, as a function of z = (vector - prior mean) / prior sd.

    Which packs are in doubt is settled once, at the z given, so that the function is smooth.
    """

    def __init__(self, histories: Histories, prior: FadePrior, free: IntArray, at: FloatArray) -> None:
        self.prior, self.free, self.packs = prior, free, len(histories)
        self._groups = grouped(histories, self._numbers(at[None]))

    def __call__(self, z: FloatArray) -> FloatArray:
        """Return the log posterior density (R,) at each z (R, D), up to a constant."""
        at_once = max(1, _CELLS // max(self.packs, 1))
        parts = [self.by_pack(z[i : i + at_once]).sum(axis=1) for i in range(0, len(z), at_once)]
        value = np.concatenate(parts) - 0.5 * (z * z).sum(axis=1)
        return np.where((np.abs(z) > _FARTHEST).any(axis=1), -_NEVER, value)

    def by_pack(self, z: FloatArray) -> FloatArray:
        """Return each pack's log likelihood (R, P), packs in an order of their own."""
        numbers = self._numbers(np.clip(z, -_FARTHEST, _FARTHEST))
        parts = [filtered(group, numbers, branches=branches).log_likelihood for group, branches in self._groups]
        return np.concatenate([*parts, np.zeros((len(z), 0))], axis=1)

    def slopes(self, z: FloatArray) -> FloatArray:
        """Return the gradients (R, D) at each z (R, D), by differences."""
        shifts = _STEP * np.eye(z.shape[1])
        ends = z[:, None, None] + np.stack([shifts, -shifts])
        up, down = np.moveaxis(self(ends.reshape(-1, z.shape[1])).reshape(ends.shape[:3]), 1, 0)
        return np.asarray((up - down) / (2 * _STEP))

    def vectors(self, z: FloatArray) -> FloatArray:
        """Return the whole vectors (R, SIZE) of each z (R, D)."""
        whole = np.tile(self.prior.mean, (len(z), 1))
        whole[:, self.free] += self.prior.sd[self.free] * z
        return whole

    def _numbers(self, z: FloatArray) -> FadeNumbers:
        return self.prior.numbers(self.vectors(z))


def _sample(histories: Histories, tested: int, limit: int, rng: np.random.Generator) -> Histories:
    """Return at most `limit` of the first `tested` packs."""
    if tested <= limit:
        return histories.chosen(np.arange(tested))
    return histories.chosen(np.sort(rng.choice(tested, limit, replace=False)))


def _mode(posterior: _Posterior, start: FloatArray, guess: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the mode from `start`, and the inverse Hessian there as BFGS met it, beginning with `guess`."""
    root = np.linalg.cholesky(guess)

    ahead = np.concatenate([np.zeros((1, len(start))), _FORWARD * np.eye(len(start))])

    def objective(x: FloatArray) -> tuple[float, FloatArray]:
        value = posterior(start + root @ x + ahead)
        return -float(value[0]), (value[0] - value[1:]) / _FORWARD @ root

    found = optimize.minimize(
        objective,
        np.zeros(len(start)),
        jac=True,
        method="BFGS",
        options={"gtol": _FLAT, "maxiter": _MOST_STEPS},
    )
    inverse = root @ found.hess_inv @ root.T
    return start + root @ found.x, (inverse + inverse.T) / 2


def _covariance(posterior: _Posterior, mode: FloatArray) -> FloatArray:
    """Return the inverse of the curvature at the mode; of many packs, of the products of their scores."""
    identity = np.eye(len(mode))
    if posterior.packs >= MANY_PACKS:
        score = np.array([np.subtract(*posterior.by_pack(mode + np.stack([s, -s]))) for s in _STEP * identity])
        curvature = score @ score.T / (2 * _STEP) ** 2 + identity
    else:
        slopes = posterior.slopes(mode + _WIDE * _STEP * np.concatenate([identity, -identity]))
        curvature = (slopes[len(mode) :] - slopes[: len(mode)]) / (2 * _WIDE * _STEP)
    values, axes = np.linalg.eigh((curvature + curvature.T) / 2)
    return np.asarray((axes / np.maximum(values, _LEAST_CURVATURE)) @ axes.T)


def _draws(
    posterior: _Posterior, mode: FloatArray, covariance: FloatArray, draws: int, rng: np.random.Generator
) -> tuple[FloatArray, float]:
    root = np.linalg.cholesky(covariance)
    if posterior.packs >= MANY_PACKS:
        return mode + _balanced(rng, draws, len(mode)) @ root.T, float(draws)
    proposals = int(np.clip(_PROPOSAL_CELLS // max(posterior.packs, 1), *_PROPOSALS))
    normal = rng.standard_normal((proposals, len(mode)))
    scale = _FREEDOM / rng.chisquare(_FREEDOM, proposals)
    proposed = mode + np.sqrt(scale)[:, None] * normal @ root.T
    distance = scale * np.einsum("ij,ij->i", normal, normal)
    log_proposal = -0.5 * (_FREEDOM + len(mode)) * np.log1p(distance / _FREEDOM)
    log_weight = posterior(proposed) - log_proposal
    weight = np.exp(log_weight - log_weight.max())
    weight = np.minimum(weight, weight.mean() * np.sqrt(proposals))
    weight /= weight.sum()
    places = (np.arange(draws) + rng.uniform()) / draws
    picked = np.searchsorted(np.cumsum(weight), places * (1 - 1e-12))
    return proposed[picked], float(1 / np.sum(weight**2))


def _balanced(rng: np.random.Generator, draws: int, size: int) -> FloatArray:
    """Return standard normal draws (draws, size) of which each is there with its opposite, so that few have mean 0."""
    half = rng.standard_normal(((draws + 1) // 2, size))
    return np.concatenate([half, -half])[:draws]
