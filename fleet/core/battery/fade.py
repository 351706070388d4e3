"""Linear fade of the runtime fraction, pooled over the packs of a device type.

    y_ij = a_i - b_i t_ij + e_ij,   (a_i, b_i) ~ N(mean, spread),   e_ij ~ N(0, noise_variance)

y runtime fraction (dimensionless), t age of the pack at the test (years), a fraction when new, b fade per year.

The mean, spread and noise are estimated by (restricted) maximum likelihood from each pack's sums alone. With
x = (1, -t), A_i = sum x x', u_i = sum x y, and S = spread / noise_variance, everything needed of pack i is

    d_i = det(I + S A_i) = 1 + tr(S A_i) + det S det A_i        (the determinant of the pack's covariance / noise)
    W_i = (A_i + det A_i adj S) / d_i                           (its information on the mean, times noise)
    z_i = ((1 + tr(S A_i)) u_i - A_i S u_i) / d_i - W_i mean    (its score)

so packs with one test, or none, need no special case. The criterion, profiled over mean and noise, is minimised over
a lower triangular L with S = L L'; its gradient is 2 G L, with G = sum W - sum W C W - sum z z' / noise and
C = (sum W)^-1 (left out for ML). L is free: a singular spread (L_22 = 0) is an ordinary minimum.

Given the population, a pack's (a, b) is normal with mean + S z_i and noise (S - S W_i S), to which the uncertainty of
the estimated mean is added through I - S W_i. Spread and noise are plugged in: with few packs intervals are too short.

Sources: N. M. Laird and J. H. Ware, "Random-effects models for longitudinal data", Biometrics 38 (1982) 963-974;
profiled criterion after D. Bates, M. Maechler, B. Bolker, S. Walker, "Fitting linear mixed-effects models using lme4",
Journal of Statistical Software 67 (2015), section 3.4. Sums by pack: own derivation.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from fleet.core.battery.arrays import FloatArray, IntArray, column, first_bad, indices, same_length
from fleet.core.errors import BadValueError, NotEnoughDataError

Method = Literal["reml", "ml"]

_COEFFICIENTS = 2
# The noise is never taken as smaller than this share of the scatter about one common line: copied values would
# otherwise make it zero, and the likelihood infinite.
_LEAST_NOISE_SHARE = 1e-10
# Entries of L to start from. With few packs the criterion can have two minima; from the first alone 5 of 600 simulated
# types of 3 to 14 packs ended in the worse one, from all three none. With many packs the first will do.
_STARTS = ((1.0, 0.0, 1.0), (4.0, 3.0, 1.0), (4.0, -3.0, 1.0))
_MANY_PACKS = 500


@dataclass(frozen=True, eq=False)
class PackSums:
    """Sums over the tests of each of P packs, x = (1, -age): the only thing the model needs of the tests.

    `count` (P,); `design` (P, 2, 2) sum x x'; `response` (P, 2) sum x y; `square` (P,) sum y^2.
    """

    count: IntArray
    design: FloatArray
    response: FloatArray
    square: FloatArray

    def about(self, line: FloatArray) -> "PackSums":
        """Return the sums of y - x' line, `line` (2,)."""
        fitted = self.design @ line
        square = self.square - 2 * self.response @ line + fitted @ line
        return PackSums(self.count, self.design, self.response - fitted, square)

    def turned(self, turn: FloatArray) -> "PackSums":
        """Return the sums for the design x' turn, `turn` (2, 2)."""
        return PackSums(self.count, turn.T @ self.design @ turn, self.response @ turn, self.square)


@dataclass(frozen=True, eq=False)
class FadePopulation:
    """How the packs of a type start and fade.

    `mean` (2,): fraction when new, fade per year. `spread` (2, 2): covariance of the two between packs.
    `noise_variance`: of one test. `mean_covariance` (2, 2): uncertainty of `mean`. `log_likelihood`: restricted if
    `method` is "reml". `packs` with tests and `tests` it rests on.
    """

    mean: FloatArray
    spread: FloatArray
    noise_variance: float
    mean_covariance: FloatArray
    log_likelihood: float
    packs: int
    tests: int
    method: Method


@dataclass(frozen=True, eq=False)
class FadePosterior:
    """What is known of each pack's fraction when new and fade per year: `mean` (P, 2), `covariance` (P, 2, 2)."""

    mean: FloatArray
    covariance: FloatArray

    def of(self, pack_index: IntArray) -> "FadePosterior":
        """Return the rows of the packs at `pack_index` (N,), which may repeat."""
        return FadePosterior(self.mean[pack_index], self.covariance[pack_index])

    def fraction_at(self, age_years: FloatArray) -> FloatArray:
        """Return the expected true fraction (P,) at `age_years` (P,)."""
        return np.asarray(self.mean[:, 0] - age_years * self.mean[:, 1])

    def fraction_sd_at(self, age_years: FloatArray) -> FloatArray:
        """Return the standard deviation (P,) of the true fraction, test noise not included."""
        return np.asarray(np.sqrt(np.maximum(self.fraction_covariance(age_years, age_years), 0.0)))

    def fraction_covariance(self, age_years: FloatArray, other_age_years: FloatArray) -> FloatArray:
        """Return the covariance (P,) of the true fractions at two ages (P,)."""
        s, t, c = age_years, other_age_years, self.covariance
        return np.asarray(c[:, 0, 0] - (s + t) * c[:, 0, 1] + s * t * c[:, 1, 1])


def pack_sums(pack_index: ArrayLike, age_years: ArrayLike, fraction: ArrayLike, *, packs: int) -> PackSums:
    """Return the sums over the tests (N,) of each of `packs` packs; a pack may have none.

    Raises BadValueError, naming field, row and value, for an index outside the packs, an age or fraction that is not
    a finite number, or columns of unequal length.
    """
    index = indices(pack_index, "pack_index", below=packs)
    age, value = column(age_years, "age_years"), column(fraction, "fraction")
    same_length(pack_index=index, age_years=age, fraction=value)
    for field, values in (("age_years", age), ("fraction", value)):
        first_bad(~np.isfinite(values), values, field, "it must be a finite number")

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(index, weights=values, minlength=packs), dtype=np.float64)

    count = np.bincount(index, minlength=packs)
    ages = total(age)
    design = np.stack([count, -ages, -ages, total(age**2)], axis=1).reshape(packs, 2, 2)
    response = np.stack([total(value), -total(age * value)], axis=1)
    return PackSums(count, design, response, total(value**2))


def fit_fade(
    pack_index: ArrayLike, age_years: ArrayLike, fraction: ArrayLike, *, method: Method = "reml"
) -> FadePopulation:
    """Estimate how the packs of a type start and fade, from tests (N,): pack, age (years), runtime fraction.

    Raises BadValueError for unusable columns, and NotEnoughDataError where the likelihood cannot tell the parameters
    apart: fewer than two packs, no pack with two tests, all tests at one age, no more tests than parameters of the
    mean. Whether an answer is worth showing is for `forecast` to judge.
    """
    if method not in ("reml", "ml"):
        message = f'method is {method!r}; it must be "reml" or "ml".'
        raise BadValueError(message, field="method")
    index = np.asarray(pack_index)
    packs = int(index.max()) + 1 if index.size else 0
    return population_from_sums(pack_sums(index, age_years, fraction, packs=packs), method=method)


def population_from_sums(sums: PackSums, *, method: Method = "reml") -> FadePopulation:
    """Estimate the population from each pack's sums. Errors as `fit_fade`."""
    line, turn = _common_line(sums)
    centred = sums.about(line)
    relative = turn @ _best_relative_spread(centred.turned(turn), method) @ turn.T
    final = _Criterion(centred, relative, method)
    return FadePopulation(
        mean=line + final.mean,
        spread=final.noise * relative,
        noise_variance=final.noise,
        mean_covariance=final.noise * final.scaled_mean_covariance,
        log_likelihood=final.log_likelihood,
        packs=int(np.count_nonzero(sums.count)),
        tests=int(sums.count.sum()),
        method=method,
    )


def pack_posterior(population: FadePopulation, sums: PackSums) -> FadePosterior:
    """Return what is known of each of the P packs in `sums`; one with no test gets its type's own distribution.

    The uncertainty of the population mean is included, that of spread and noise is not.
    """
    noise = population.noise_variance
    relative = population.spread / noise
    terms = _PackTerms(sums.about(population.mean), relative)
    shrink = np.eye(_COEFFICIENTS) - relative @ terms.information
    covariance = population.spread @ shrink.transpose(0, 2, 1)
    covariance = covariance + shrink @ population.mean_covariance @ shrink.transpose(0, 2, 1)
    return FadePosterior(
        mean=population.mean + terms.score @ relative,
        covariance=(covariance + covariance.transpose(0, 2, 1)) / 2,
    )


class _PackTerms:
    """d_i, W_i and z_i (with mean 0) of the module's formulas, over all packs, for a given S."""

    def __init__(self, sums: PackSums, relative: FloatArray) -> None:
        design, response = sums.design, sums.response
        flat = design.reshape(-1, 4)
        determinant = flat[:, 0] * flat[:, 3] - flat[:, 1] * flat[:, 2]
        one_plus_trace = 1 + flat @ relative.ravel()
        adjugate = np.array([relative[1, 1], -relative[0, 1], -relative[1, 0], relative[0, 0]])
        spread_determinant = max(relative[0, 0] * relative[1, 1] - relative[0, 1] ** 2, 0.0)
        # Never below 1 but by rounding.
        self.determinant = np.maximum(one_plus_trace + spread_determinant * determinant, 1.0)
        information = (flat + determinant[:, None] * adjugate) / self.determinant[:, None]
        self.information = information.reshape(-1, 2, 2)
        carried = (design.reshape(-1, 2) * np.repeat(response @ relative, 2, axis=0)).sum(axis=1).reshape(-1, 2)
        self.score = (one_plus_trace[:, None] * response - carried) / self.determinant[:, None]


class _Criterion:
    """The profiled criterion (-2 log likelihood up to a constant) at S, what it implies, and G of the module's text."""

    def __init__(self, sums: PackSums, relative: FloatArray, method: Method) -> None:
        restricted = method == "reml"
        terms = _PackTerms(sums, relative)
        information = terms.information.sum(axis=0)
        self.scaled_mean_covariance = np.linalg.inv(information)
        self.mean = self.scaled_mean_covariance @ terms.score.sum(axis=0)
        score = terms.score - terms.information @ self.mean
        freedom = float(sums.count.sum()) - _COEFFICIENTS * restricted
        squares = sums.square.sum() - (sums.response * (terms.score @ relative)).sum()
        squares = squares - self.mean @ terms.score.sum(axis=0)
        least = _LEAST_NOISE_SHARE * sums.square.sum()
        self.noise = float(max(squares, least) / freedom)
        self.value = np.log(terms.determinant).sum() + freedom * np.log(self.noise)
        self.slope = information - score.T @ score / self.noise
        if restricted:
            self.value += np.linalg.slogdet(information)[1]
            self.slope = self.slope - self._lost_to_the_mean(terms.information)
        self.log_likelihood = float(-0.5 * (self.value + freedom * (1 + np.log(2 * np.pi))))

    def _lost_to_the_mean(self, information: FloatArray) -> FloatArray:
        """Return sum W C W, from the sums of products of W's entries."""
        flat = information.reshape(-1, 4)
        products = (flat.T @ flat).reshape(2, 2, 2, 2)
        return np.asarray(np.einsum("ijkl,jk->il", products, self.scaled_mean_covariance))


def _common_line(sums: PackSums) -> tuple[FloatArray, FloatArray]:
    """Return the least-squares line (2,) over all tests, and the turn (2, 2) to ages centred and of unit scale."""
    _refuse_what_cannot_be_told_apart(sums)
    total = sums.design.sum(axis=0)
    age = -total[0, 1] / total[0, 0]
    scale = np.sqrt(total[1, 1] / total[0, 0] - age**2)
    line = np.linalg.solve(total, sums.response.sum(axis=0))
    return line, np.array([[1.0, age / scale], [0.0, 1.0 / scale]])


def _refuse_what_cannot_be_told_apart(sums: PackSums) -> None:
    tests = int(sums.count.sum())
    if np.count_nonzero(sums.count) < 2:  # noqa: PLR2004 - a spread needs two
        message = "Packs of this type with a test: fewer than two. At least two are needed to tell how packs differ."
        raise NotEnoughDataError(message)
    if sums.count.max() < 2 or tests <= _COEFFICIENTS + 1:  # noqa: PLR2004 - a repeat
        message = "No pack of this type was tested often enough to tell test error from differences between packs."
        raise NotEnoughDataError(message)
    total = sums.design.sum(axis=0)
    variance = total[1, 1] / tests - (total[0, 1] / tests) ** 2
    if variance <= 1e-12 * total[1, 1] / tests:  # rounding leaves about 1e-16
        message = "All tests of this type were made at the same age, so its fade per year cannot be told."
        raise NotEnoughDataError(message)


def _best_relative_spread(sums: PackSums, method: Method) -> FloatArray:
    """Return the S (2, 2) that minimises the criterion; ages in `sums` are centred and of unit scale."""

    def criterion(entries: FloatArray) -> tuple[float, FloatArray]:
        factor = _factor(entries)
        point = _Criterion(sums, factor @ factor.T, method)
        gradient = 2 * point.slope @ factor
        return float(point.value) / tests, gradient[np.tril_indices(2)] / tests

    tests = float(sums.count.sum())
    found = [
        optimize.minimize(
            criterion,
            np.array(start),
            jac=True,
            method="L-BFGS-B",
            options={"ftol": 1e-16, "gtol": 1e-10, "maxiter": 500},
        )
        for start in (_STARTS[:1] if np.count_nonzero(sums.count) >= _MANY_PACKS else _STARTS)
    ]
    factor = _factor(min(found, key=lambda result: float(result.fun)).x)
    return np.asarray(factor @ factor.T)


def _factor(entries: FloatArray) -> FloatArray:
    return np.array([[entries[0], 0.0], [entries[1], entries[2]]])
