"""What tests say of each pack, for given numbers of the type: a Kalman filter that branches on good and wrong tests.

The state is (u, b, g, ...): the true fraction now, the pack's own fade and bend, and a copy of u at each bound. From
age s to t

    u -> u - b (t - s) - g c (t^p - s^p) + N(0, kappa^2 (t - s)),

and a good test is y = u - (charge x shortfall) + N(0, s^2 phi). The pack's own fade has the type's mean times
exp(cycles x use). A gross error is taken as uniform on 0 to WIDEST and so leaves the state as it
is. Each test doubles the branches (good, gross); the `branches` heaviest are kept, the others' weight is dropped. With
one branch every test is taken as good for the state, but its likelihood is still that of the mixture: right for packs
none of whose tests is in doubt (see `grouped`), and much cheaper.

A bound y >= l has probability Phi((u - l) / sd); the state is given the mean and covariance of its truncated normal
(assumed-density filtering). Bounds come last, when the values have narrowed the state, which is why u is copied.
A pack that came into the record at age e is known not to have been taken out before. Packs are taken out at a fraction
R, N(entry_level, entry_level_sd^2) over packs, so that u_e > R: the state at e is truncated in the same way, without a
factor in the likelihood, since p(y, u_e > R) / P(u_e > R) is what can be observed. Without this slow packs count double
(they alone were still there), and the next year's crossings are forecast some 3 % too few; with R held at the
replacement level they are too many, since a pack goes only at the first test that shows it.

Sources: R. E. Kalman, J. Basic Engineering 82 (1960) 35-45; P. J. Harrison, C. F. Stevens, "Bayesian forecasting",
JRSS B 38 (1976) 205-247, for branches (both from memory); moments of a truncated normal, any textbook. The truncation
at entry: own derivation.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.histories import PLAIN, Histories
from fleet.core.battery.bend.parameters import FadeNumbers

# Gross errors lie anywhere in this range of fractions: a run over 1.3 of the rating is as odd as one near zero.
WIDEST = 1.3
# Dimensions of a pack's own state: u, b and g.
OWN = 3
# Branches followed for packs in doubt; with six tests 22 combinations have at most two gross, few of them with weight.
BRANCHES = 4
# A test is in doubt where the odds that it is gross exceed this.
_DOUBT = 0.03
_LOG_2PI = float(np.log(2 * np.pi))
_UNLIKELY = -1e30


@dataclass(frozen=True, eq=False)
class PackStates:
    """What is known of P packs after their last event under R sets of numbers, as at most B weighted normals each.

    `weight` (B, R, P): of each, 1 in all. `mean` (OWN, B, R, P), `covariance` (OWN, OWN, B, R, P): of u, b and g.
    `age` (P,): years, of the last event. `log_likelihood` (R, P). `doubt` (P,): highest odds of a test being gross, by
    the first set. When traced, else empty: `gross` (K, P), the chance that each value is gross, and `surprise` (K, P),
    each against the events before it in standard deviations, both by the first set and 0 for a bound or no event.
    """

    weight: FloatArray
    mean: FloatArray
    covariance: FloatArray
    age: FloatArray
    log_likelihood: FloatArray
    doubt: FloatArray
    gross: FloatArray
    surprise: FloatArray


def filtered(histories: Histories, numbers: FadeNumbers, *, branches: int = 1, traced: bool = False) -> PackStates:
    """Return what the tests say of each pack in `histories`, in its order."""
    run = _Run(histories, numbers, branches, traced=traced)
    for event in range(len(histories.active)):
        run.take(event)
    run.take_bounds()
    return run.states()


def grouped(histories: Histories, numbers: FadeNumbers) -> list[tuple[Histories, int]]:
    """Return the packs in groups that need the same: bounds or none, and the branches for tests in doubt or one.

    A test is in doubt by the first set of `numbers`.
    """
    bounded = np.asarray((histories.slot >= 0).any(axis=0))
    groups = []
    for part in (histories.chosen(~bounded), histories.chosen(bounded)):
        doubt = filtered(part, numbers.of(slice(0, 1))).doubt > _DOUBT
        groups += [(part.chosen(~doubt), 1), (part.chosen(doubt), BRANCHES)]
    return [group for group in groups if len(group[0])]


class _Run:
    """The filter's arrays while it runs: mean (d, B, R, P), covariance (d, d, B, R, P), log weight (B, R, P).

    When traced: `wrong` (K, B, P), whether a branch of the first set takes a test as gross.
    """

    def __init__(self, histories: Histories, numbers: FadeNumbers, branches: int, *, traced: bool) -> None:
        shape, size = (1, len(numbers), len(histories)), OWN + histories.bounds
        self.histories, self.numbers, self.branches = histories, numbers, branches
        self.mean = np.zeros((size, *shape))
        self.covariance = np.zeros((size, size, *shape))
        self.mean[:2] = numbers.mean[:, None, :, None]
        if histories.use.any():
            self.mean[1] *= np.exp(numbers.cycles[:, None] * histories.use)
        self.mean[2] = 1.0
        self.covariance[:2, :2] = numbers.spread[:, :, None, :, None]
        self.covariance[2, 2] = numbers.bend_spread[:, None]
        self.log_weight = np.zeros(shape)
        self.age, self.bent = np.zeros(shape[2]), np.zeros(shape[1:])
        self.log_likelihood, self.doubt = np.zeros(shape[1:]), np.zeros(shape[2])
        self.surprise = np.zeros((len(histories.active) if traced else 0, shape[2]))
        self.wrong = np.zeros((len(self.surprise), 1, shape[2]), dtype=np.bool_)
        self.bend, self.power = numbers.bend[:, None], numbers.power[:, None]
        self.plain, self.full = not histories.kind.any(), not histories.shortfall.any()
        self.log_gross = np.log(numbers.gross[:, None] / WIDEST)
        self.log_wrong = np.log(numbers.gross[:, None])
        self.log_good = np.log1p(-numbers.gross[:, None])
        self._enter()

    def take(self, event: int) -> None:
        """Move the packs that have this event to its age, and learn from it."""
        count = int(self.histories.active[event])
        self._move(count, self.histories.age[event, :count])
        if not self.histories.bounds:
            self._learn(event, slice(0, count))
            return
        slot = self.histories.slot[event, :count]
        for each in range(self.histories.bounds):
            self._copy(OWN + each, np.flatnonzero(slot == each))
        self._learn(event, np.flatnonzero(slot < 0))

    def _enter(self) -> None:
        late = np.flatnonzero(self.histories.entry_age > 0)
        if not late.size:
            return
        self._move(len(self.age), self.histories.entry_age)
        mean, covariance = self.mean[..., late], self.covariance[..., late]
        sd = np.sqrt(covariance[0, 0] + self.histories.entry_level_sd**2)
        lift, cut = _truncation((self.histories.entry_level - mean[0]) / sd)
        gain = covariance[:, 0] / sd
        self.mean[..., late] = mean + gain * lift
        self.covariance[..., late] = covariance - gain[:, None] * gain[None] * cut

    def _move(self, count: int, age: FloatArray) -> None:
        mean, covariance = self.mean[..., :count], self.covariance[..., :count]
        step = age - self.age[:count]
        bent = self.bend * age**self.power
        more = bent - self.bent[:, :count]
        mean[0] -= step * mean[1] + more * mean[2]
        covariance[0] -= step * covariance[1] + more * covariance[2]
        covariance[0, 0] += self.numbers.stray[:, None] * step - step * covariance[0, 1] - more * covariance[0, 2]
        covariance[1:, 0] = covariance[0, 1:]
        self.age[:count], self.bent[:, :count] = age, bent

    def _copy(self, at: int, packs: IntArray) -> None:
        self.mean[at][..., packs] = self.mean[0][..., packs]
        self.covariance[at][..., packs] = self.covariance[0][..., packs]
        self.covariance[:, at][..., packs] = self.covariance[:, 0][..., packs]
        self.covariance[at, at][..., packs] = self.covariance[0, 0][..., packs]

    def _learn(self, event: int, where: IntArray | slice) -> None:
        """Learn from the value that each of the packs at `where` has."""
        mean, covariance = self.mean[..., where], self.covariance[..., where]
        variance = np.maximum(covariance[0, 0], 0.0) + self._noise(event, where)
        miss = self._value(event, where) - mean[0]
        good = self.log_good - 0.5 * (miss * miss / variance + np.log(variance) + _LOG_2PI)
        self.doubt[where] = np.maximum(self.doubt[where], np.exp(np.minimum(self.log_gross[0] - good[0, 0], 0.0)))
        if len(self.surprise):
            self.surprise[event, where] = self._surprise(where, miss[:, 0], variance[:, 0])
        gain = covariance[:, 0] / variance
        if self.branches == 1:
            self.log_likelihood[:, where] += np.logaddexp(good[0], self.log_gross)
            mean += gain * miss
            for row in reversed(range(len(gain))):
                covariance[row] -= gain[row] * covariance[0]  # its first row last: the others need it
            if not isinstance(where, slice):
                self.mean[..., where], self.covariance[..., where] = mean, covariance
            return
        moved = mean + gain * miss
        narrowed = covariance - gain[:, None] * covariance[None, 0]
        weight = self.log_weight[..., where]
        self._keep_heaviest(
            event,
            where,
            np.concatenate([weight + good, weight + self.log_gross]),
            np.concatenate([moved, mean], axis=1),
            np.concatenate([narrowed, covariance], axis=2),
        )

    def _surprise(self, where: IntArray | slice, miss: FloatArray, variance: FloatArray) -> FloatArray:
        """Return by how many standard deviations the branches (B, n) together missed."""
        weight = np.exp(self.log_weight[:, 0, where])
        middle = np.einsum("bn,bn->n", weight, miss)
        return np.asarray(middle / np.sqrt(np.einsum("bn,bn->n", weight, variance + (miss - middle) ** 2)))

    def _keep_heaviest(
        self, event: int, where: IntArray | slice, log_weight: FloatArray, mean: FloatArray, covariance: FloatArray
    ) -> None:
        before, now = len(self.log_weight), min(len(log_weight), self.branches)
        self._widen(now - before)
        pick = np.argpartition(-log_weight, now - 1, axis=0)[:now]
        kept = np.take_along_axis(log_weight, pick, axis=0)
        self.log_likelihood[:, where] += _log_sum(log_weight)
        self.log_weight[..., where] = kept - _log_sum(kept)
        self.mean[..., where] = np.take_along_axis(mean, pick[None], axis=1)
        self.covariance[..., where] = np.take_along_axis(covariance, pick[None, None], axis=2)
        if len(self.wrong):
            first = pick[None, :, 0]
            self.wrong[..., where] = np.take_along_axis(self.wrong[..., where], first % before, axis=1)
            self.wrong[event][:, where] = first[0] >= before

    def _widen(self, more: int) -> None:
        """Make room for so many branches more, at most as many as there are; they have no weight."""
        if not more:
            return
        self.mean = np.concatenate([self.mean, self.mean[:, :more]], axis=1)
        self.covariance = np.concatenate([self.covariance, self.covariance[:, :, :more]], axis=2)
        self.wrong = np.concatenate([self.wrong, self.wrong[:, :more]], axis=1)
        self.log_weight = np.concatenate([self.log_weight, np.full_like(self.log_weight[:more], _UNLIKELY)])

    def take_bounds(self) -> None:
        """Learn from the bounds, after all values."""
        for slot in range(self.histories.bounds):
            event, packs = np.nonzero(self.histories.slot == slot)
            self._learn_bound(OWN + slot, event, packs)

    def _learn_bound(self, at: int, event: IntArray, packs: IntArray) -> None:
        mean, covariance = self.mean[..., packs], self.covariance[..., packs]
        sd = np.sqrt(np.maximum(covariance[at, at], 0.0) + self._noise(event, packs))
        limit = (self._value(event, packs) - mean[at]) / sd
        lift, cut = _truncation(limit)
        log_good = self.log_good + special.log_ndtr(-limit)
        total = np.logaddexp(log_good, self.log_wrong)
        sound = np.exp(log_good - total)
        gain = covariance[:, at] / sd
        self.mean[..., packs] = mean + gain * (sound * lift)
        shrink = sound * cut - sound * (1 - sound) * lift**2
        self.covariance[..., packs] = covariance - gain[:, None] * gain[None] * shrink
        weight = self.log_weight[..., packs] + total
        added = _log_sum(weight)
        self.log_likelihood[:, packs] += added
        self.log_weight[..., packs] = weight - added

    def _value(self, event: int | IntArray, where: IntArray | slice) -> FloatArray:
        """Return what the tests would have read after a full charge."""
        value = self.histories.value[event, where]
        if self.full:
            return value
        return value + self.numbers.charge[:, None] * self.histories.shortfall[event, where]

    def _noise(self, event: int | IntArray, where: IntArray | slice) -> FloatArray:
        if self.plain:
            return self.numbers.noise[PLAIN, :, None]
        return np.moveaxis(self.numbers.noise[self.histories.kind[event, where]], 0, -1)

    def states(self) -> PackStates:
        """Return what is known now."""
        return PackStates(
            weight=np.exp(self.log_weight),
            mean=self.mean[:OWN],
            covariance=self.covariance[:OWN, :OWN],
            age=self.age,
            log_likelihood=self.log_likelihood,
            doubt=self.doubt,
            gross=np.einsum("kbp,bp->kp", self.wrong, np.exp(self.log_weight[:, 0])),
            surprise=self.surprise,
        )


def _log_sum(log_weight: FloatArray) -> FloatArray:
    """Return log sum exp over the first axis."""
    largest = log_weight.max(axis=0)
    return np.asarray(largest + np.log(np.exp(log_weight - largest).sum(axis=0)))


def _truncation(limit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return by how much a standard normal's mean rises and its variance falls when kept above `limit`."""
    lift = np.sqrt(2 / np.pi) / special.erfcx(limit / np.sqrt(2))
    return lift, lift * (lift - limit)
