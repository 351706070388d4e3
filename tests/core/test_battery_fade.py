"""The pooled fade model: likelihood, extremes, and what is known of a single pack."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.fade import FadePopulation, Method, fit_fade, pack_posterior, pack_sums
from fleet.core.errors import BadValueError, NotEnoughDataError
from tests.core.battery_cases import MEAN, NOISE_SD, SPREAD, DrawnType, columns, drawn_type


def fit(case: DrawnType, method: Method = "reml") -> FadePopulation:
    """Fit the type's tests."""
    return fit_fade(case.tests.pack, case.tests.age_years, case.tests.fraction, method=method)


def dense_covariance(
    pack: IntArray, age: FloatArray, spread: FloatArray, noise: float
) -> tuple[FloatArray, FloatArray]:
    """Return the design (N, 2) and the covariance (N, N) of all tests at once, by definition."""
    design = np.column_stack([np.ones_like(age), -age])
    same_pack = pack[:, None] == pack[None, :]
    return design, same_pack * (design @ spread @ design.T) + noise * np.eye(len(age))


@pytest.mark.parametrize("seed", range(5))
def test_likelihood_is_that_of_the_multivariate_normal(seed: int) -> None:
    """The ML log likelihood from sums by pack equals the density of all tests as one normal vector."""
    case = drawn_type(seed, packs=12)
    found = fit(case, "ml")
    design, covariance = dense_covariance(case.tests.pack, case.tests.age_years, found.spread, found.noise_variance)
    expected = stats.multivariate_normal.logpdf(
        case.tests.fraction, design @ found.mean, covariance, allow_singular=True
    )
    assert found.log_likelihood == pytest.approx(float(expected), abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_restricted_likelihood_is_that_of_the_contrasts(seed: int) -> None:
    """The REML log likelihood equals the density of the tests with the mean's two directions projected away."""
    case = drawn_type(seed, packs=12)
    found = fit(case)
    design, covariance = dense_covariance(case.tests.pack, case.tests.age_years, found.spread, found.noise_variance)
    contrasts = np.linalg.svd(design.T)[2][2:]
    density = stats.multivariate_normal.logpdf(
        contrasts @ case.tests.fraction, None, contrasts @ covariance @ contrasts.T, allow_singular=True
    )
    expected = float(density) - 0.5 * np.linalg.slogdet(design.T @ design)[1]
    assert found.log_likelihood == pytest.approx(expected, abs=1e-6)


def dense_log_likelihood(tests: FadeTests, spread: FloatArray, noise: float, method: Method) -> float:
    """Give the log likelihood at the best mean, but for a constant, worked out from all tests at once."""
    design, covariance = dense_covariance(tests.pack, tests.age_years, spread, noise)
    weighted = np.linalg.solve(covariance, design)
    information = design.T @ weighted
    rest = tests.fraction - design @ np.linalg.solve(information, weighted.T @ tests.fraction)
    value = np.linalg.slogdet(covariance)[1] + rest @ np.linalg.solve(covariance, rest)
    return -0.5 * float(value + (np.linalg.slogdet(information)[1] if method == "reml" else 0.0))


def test_of_two_maxima_the_higher_is_found() -> None:
    """Six packs whose restricted likelihood has two maxima are fitted at the higher, not at the one nearest by."""
    pack = np.array([0, 0, 0, 1, 1, 2, 3, 3, 3, 3, 4, 5, 5])
    age = np.array([2.98, 1.02, 0.27, 4.26, 2.93, 3.68, 1.72, 0.89, 1.67, 4.35, 4.93, 4.79, 1.25])
    fraction = np.array([0.871, 0.936, 0.987, 0.779, 0.753, 0.783, 0.814, 0.896, 0.805, 0.508, 0.785, 0.896, 0.989])
    tests = columns(pack, age, fraction)
    higher = np.array([[0.0212, 0.00517], [0.00517, 0.00221]])  # near the higher one, by search from many starts
    found = fit_fade(pack, age, fraction)
    expected = dense_log_likelihood(tests, higher, 1.185e-4, "reml")
    assert dense_log_likelihood(tests, found.spread, found.noise_variance, "reml") > expected


@pytest.mark.parametrize("method", ["reml", "ml"])
@pytest.mark.parametrize("seed", range(8))
def test_no_neighbouring_population_is_likelier(seed: int, method: Method) -> None:
    """At the estimate no small change of spread or noise raises the likelihood, worked out from all tests at once."""
    case = drawn_type(seed, packs=10)
    found = fit(case, method)

    def log_likelihood(spread: FloatArray, noise: float) -> float:
        return dense_log_likelihood(case.tests, spread, noise, method)

    best = log_likelihood(found.spread, found.noise_variance)
    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(found.spread)
    factor = vectors * np.sqrt(np.maximum(values, 0.0))
    for _ in range(30):
        other = factor + rng.normal(size=(2, 2)) * 0.01 * np.sqrt(np.diag(found.spread).max())
        assert log_likelihood(other @ other.T, found.noise_variance) <= best + 1e-8
        assert log_likelihood(found.spread, found.noise_variance * rng.uniform(0.97, 1.03)) <= best + 1e-8


def test_a_large_type_gives_back_its_truth() -> None:
    """From 20,000 packs the mean, spread and noise the tests were drawn with are found again."""
    found = fit(drawn_type(7, packs=20_000))
    assert_allclose(found.mean, MEAN, atol=5e-4)
    assert_allclose(found.spread, SPREAD, rtol=0.08)
    assert found.noise_variance == pytest.approx(NOISE_SD**2, rel=0.02)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 1000), st.floats(0.01, 100.0), st.floats(0.1, 10.0), st.floats(-5.0, 5.0))
def test_units_do_not_matter(seed: int, scale: float, unit: float, offset: float) -> None:
    """Another unit of age or runtime, or another zero of runtime, changes the answer by just that unit or zero."""
    case = drawn_type(seed, packs=12)
    plain = fit(case)
    other = fit_fade(case.tests.pack, case.tests.age_years * unit, (case.tests.fraction + offset) * scale)
    turn = np.diag([scale, scale / unit])
    assert_allclose(other.mean, turn @ (plain.mean + np.array([offset, 0.0])), rtol=1e-4, atol=1e-5 * scale)
    assert_allclose(other.noise_variance, plain.noise_variance * scale**2, rtol=1e-3)
    size = np.sqrt(np.diag(turn @ plain.spread @ turn) + 1e-6 * np.diag(turn) ** 2)
    assert_allclose(other.spread / np.outer(size, size), turn @ plain.spread @ turn / np.outer(size, size), atol=5e-3)


@pytest.mark.parametrize("seed", range(6))
def test_packs_that_do_not_differ(seed: int) -> None:
    """Where packs do not differ at all, the spread is next to nothing, often singular, and the fit stands."""
    found = fit(drawn_type(seed, packs=30, spread=np.zeros((2, 2))))
    assert -1e-12 < np.linalg.eigvalsh(found.spread)[0] < 0.1 * NOISE_SD**2
    assert_allclose(found.mean, MEAN, atol=0.015)


def test_tests_without_error() -> None:
    """Tests that lie exactly on their packs' lines leave a noise near zero and each pack its own line."""
    case = drawn_type(4, packs=30, noise_sd=0.0)
    found = fit(case)
    posterior = pack_posterior(found, pack_sums(case.tests.pack, case.tests.age_years, case.tests.fraction, packs=30))
    assert found.noise_variance < 1e-8
    assert_allclose(posterior.mean[:4], case.truth[:4], atol=1e-3)


def test_identical_tests() -> None:
    """One value copied into every test is a flat line without noise, not a crash."""
    case = drawn_type(5, packs=10)
    found = fit_fade(case.tests.pack, case.tests.age_years, np.full(len(case.tests.pack), 0.95))
    assert_allclose(found.mean, [0.95, 0.0], atol=1e-9)


def test_a_pack_without_tests_is_its_type() -> None:
    """A pack with no test gets the type's mean, spread, and the uncertainty of the mean."""
    case = drawn_type(6)
    found = fit(case)
    posterior = pack_posterior(found, pack_sums(np.array([], dtype=int), [], [], packs=2))
    assert_allclose(posterior.mean, [found.mean, found.mean], rtol=1e-12)
    assert_allclose(posterior.covariance[1], found.spread + found.mean_covariance, rtol=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_a_packs_posterior_is_the_conditional_normal(seed: int) -> None:
    """Sums by pack give the mean and variance of conditioning one normal vector, mean estimated, on all tests."""
    case = drawn_type(seed, packs=10)
    tests, found = case.tests, fit(case)
    posterior = pack_posterior(found, pack_sums(tests.pack, tests.age_years, tests.fraction, packs=10))
    design, covariance = dense_covariance(tests.pack, tests.age_years, found.spread, found.noise_variance)
    inverse = np.linalg.inv(covariance)
    mean_covariance = np.linalg.inv(design.T @ inverse @ design)
    for pack in range(10):
        own = design * (tests.pack == pack)[:, None]
        gain = found.spread @ own.T @ inverse
        rest = np.eye(2) - gain @ design
        mean = found.mean + gain @ (tests.fraction - design @ found.mean)
        within = found.spread - gain @ own @ found.spread
        assert_allclose(posterior.mean[pack], mean, rtol=1e-6)
        assert_allclose(posterior.covariance[pack], within + rest @ mean_covariance @ rest.T, rtol=1e-6, atol=1e-12)


def test_more_tests_never_know_less() -> None:
    """A further test of a pack does not widen what is known of its fraction at any age."""
    case = drawn_type(8)
    found = fit(case)
    ages = [0.5, 1.5, 2.5, 3.5]
    at = np.full(4, 5.0)
    rows = [(pack, age) for pack in range(4) for age in ages[:pack]]
    index, age = (np.array(column) for column in zip(*rows, strict=True))
    posterior = pack_posterior(found, pack_sums(index, age, np.full(len(age), 0.9), packs=4))
    assert (np.diff(posterior.fraction_sd_at(at)) < 0).all()


@pytest.mark.parametrize(
    ("pack", "age", "words"),
    [
        ([], [], "fewer than two"),
        ([0, 0, 0, 0], [1.0, 2.0, 3.0, 4.0], "fewer than two"),
        ([0, 1, 2, 3], [1.0, 2.0, 3.0, 4.0], "tested often enough"),
        ([0, 0, 1], [1.0, 2.0, 3.0], "tested often enough"),
        ([0, 0, 1, 1], [2.0, 2.0, 2.0, 2.0], "same age"),
        ([0, 0, 1, 1], [0.1, 0.1, 0.1, 0.1], "same age"),
    ],
)
def test_what_cannot_be_told_apart_is_not_estimated(pack: list[int], age: list[float], words: str) -> None:
    """Too few packs, no repeats or one age only is refused in plain words."""
    with pytest.raises(NotEnoughDataError, match=words):
        fit_fade(np.array(pack, dtype=int), age, np.linspace(1.0, 0.9, len(pack)))


@pytest.mark.parametrize(
    ("pack", "age", "fraction", "words"),
    [
        ([0, -1], [1.0, 2.0], [0.9, 0.8], r"pack_index\[1\] is -1"),
        ([0.5, 1.0], [1.0, 2.0], [0.9, 0.8], "one whole number per row"),
        ([0, 1], [1.0, float("nan")], [0.9, 0.8], r"age_years\[1\] is nan"),
        ([0, 1], [1.0, 2.0], [float("inf"), 0.8], r"fraction\[0\] is inf"),
        ([0, 1], [1.0, 2.0], [0.9], "fraction has 1 rows and pack_index has 2"),
    ],
)
def test_unusable_columns_are_refused(pack: list[int], age: list[float], fraction: list[float], words: str) -> None:
    """A column that cannot be used is refused with field, row and value."""
    with pytest.raises(BadValueError, match=words):
        fit_fade(pack, age, fraction)


def test_only_the_two_methods_are_known() -> None:
    """A method of estimation that is none is refused."""
    with pytest.raises(BadValueError, match='"reml" or "ml"'):
        fit(drawn_type(1), "mle")
