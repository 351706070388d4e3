"""What one more test would tell, against the same by brute force; and the law of a new pack."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.filtering import WIDEST
from fleet.core.battery.bend.fit import fit_fade_numbers
from fleet.core.battery.bend.histories import lay_out
from fleet.core.battery.bend.outlook import FadeOutlook, new_pack_law, outlook
from fleet.core.battery.bend.parameters import FadeNumbers, assumed_prior
from tests.core.bend_cases import LEVEL, drawn_fades, known, one_pack

AGES = [0.4, 1.1, 2.0, 2.7, 3.5]
TEST_AGE, ASKED_AGE = np.array([4.3]), np.array([5.3])
START, FADE, BEND = np.meshgrid(
    np.linspace(0.92, 1.08, 81), np.linspace(-0.03, 0.09, 121), np.linspace(-0.5, 2.5, 61), indexing="ij"
)


def both(one: FadeNumbers, other: FadeNumbers) -> FadeNumbers:
    """Two sets of numbers as two draws."""
    return FadeNumbers(*(np.concatenate([getattr(each, name) for each in (one, other)], axis=-1) for name in vars(one)))


def fractions(numbers: FadeNumbers, age: float) -> FloatArray:
    """The true fraction of every fade of the grid, without straying."""
    return np.asarray(START - FADE * age - BEND * numbers.bend[0] * age ** numbers.power[0])


def posterior(numbers: FadeNumbers, value: list[float]) -> FloatArray:
    """The weight of every fade of the grid after the tests, 1 in all."""
    mean, sd = numbers.mean[:, 0], np.sqrt(np.diag(numbers.spread[:, :, 0]))
    deviations = ((START - mean[0]) / sd[0], (FADE - mean[1]) / sd[1], (BEND - 1) / np.sqrt(numbers.bend_spread[0]))
    weight = np.exp(-0.5 * sum(each**2 for each in deviations))
    for age, y in zip(AGES, value, strict=True):
        weight *= (1 - numbers.gross[0]) * density(numbers, y, age) + numbers.gross[0] / WIDEST
    return np.asarray(weight / weight.sum())


def density(numbers: FadeNumbers, y: float, age: float) -> FloatArray:
    """How likely a good test at `age` reads `y`, for every fade of the grid."""
    variance = numbers.noise[0, 0]
    return np.asarray(np.exp(-0.5 * (y - fractions(numbers, age)) ** 2 / variance) / np.sqrt(2 * np.pi * variance))


@pytest.mark.parametrize(
    "value", [[0.99, 0.95, 0.93, 0.9, 0.86], [0.99, 0.95, 0.5, 0.9, 0.87], [0.99, 0.95, 0.93, 0.89, 0.7]]
)
def test_chances_after_a_test_are_those_of_brute_force_quadrature(value: list[float]) -> None:
    """For each result a fine grid over start, fade and bend, of two draws, gives the same chance within 0.04."""
    draws = [known(stray=1e-6), known(stray=1e-6, bend=0.008, noise=(0.03, 0.06, 0.06))]
    law = outlook(one_pack(AGES, value), both(*draws), LEVEL)
    found = law.after_test(TEST_AGE, ASKED_AGE)
    weights = [posterior(numbers, value) for numbers in draws]
    crossed = [fractions(numbers, float(ASKED_AGE[0])) <= LEVEL for numbers in draws]
    for y, chance in zip(found.fraction[:, 0], found.chance[:, 0], strict=True):
        after = [w * density(n, float(y), float(TEST_AGE[0])) for w, n in zip(weights, draws, strict=True)]
        exact = sum(a[c].sum() for a, c in zip(after, crossed, strict=True)) / sum(a.sum() for a in after)
        assert chance == pytest.approx(exact, abs=0.04)


def test_chances_after_a_test_are_those_of_paths_with_that_result() -> None:
    """Simulated paths from the last test, sorted by what a test reads, touch the level as often, within 0.03."""
    numbers = known(stray=0.03, bend=1e-9, mean=(1.0, 0.04), gross=1e-9)
    law = outlook(one_pack([1.0, 2.0, 3.0], [0.96, 0.93, 0.88]), numbers, LEVEL)
    found = law.after_test(np.array([3.5]), np.array([4.5]))
    rng, count, step = np.random.default_rng(2), 400_000, 0.01
    state = law.parts[0].course
    u, b = rng.multivariate_normal(state.mean[:2, 0, 0, 0], state.covariance[:2, :2, 0, 0, 0], count).T
    crossed = u <= LEVEL
    for at in range(150):
        then = u - b * step + rng.normal(0.0, 0.03 * np.sqrt(step), count)
        touch = np.exp(-2 * np.maximum(u - LEVEL, 0) * np.maximum(then - LEVEL, 0) / (0.03**2 * step))
        crossed |= rng.uniform(size=count) < touch
        u = then
        if at == 49:
            result = u + rng.normal(0.0, np.sqrt(numbers.noise[0, 0]), count)
    for y, chance in zip(found.fraction[:, 0], found.chance[:, 0], strict=True):
        assert chance == pytest.approx(crossed[np.abs(result - y) < 0.003].mean(), abs=0.03)


def fleet_law() -> tuple[FadeOutlook, FloatArray]:
    """The outlook of 60 drawn packs under drawn numbers, and their ages today."""
    histories = lay_out(drawn_fades(known(), 60, seed=21).tests, 60)
    fit = fit_fade_numbers(histories, assumed_prior(4.0), draws=16)
    today = np.empty(60)
    today[histories.row] = histories.last_age
    return outlook(histories, fit.drawn_numbers(), LEVEL), today


@pytest.mark.parametrize("nodes", [3, 7])
def test_the_chance_after_a_test_is_on_average_the_chance_before_it(nodes: int) -> None:
    """Over the possible results the chance is exactly today's, and the higher the result the lower it is."""
    law, today = fleet_law()
    found = law.after_test(today + 0.5, today + 1.5, nodes=nodes)
    assert_allclose((found.weight * found.chance).sum(axis=0), law(today + 1.5), atol=1e-9)
    assert_allclose(found.weight.sum(axis=0), 1.0)
    assert (np.diff(found.fraction, axis=0) > 0).all()
    assert (np.diff(found.chance, axis=0) < 0.02).all()


def test_a_test_in_the_past_is_taken_as_at_the_last_one() -> None:
    """Asked about a test before the last event, the answer is that for a repeat of it."""
    law, today = fleet_law()
    early, repeated = law.after_test(today - 1.0, today + 1.0), law.after_test(today, today + 1.0)
    assert_allclose(early.chance, repeated.chance)


def test_the_law_of_a_new_pack_is_that_of_the_type() -> None:
    """Within each draw a new pack crosses as fades drawn from those numbers do."""
    numbers = both(known(), known(mean=(1.0, 0.06)))
    chance = new_pack_law(numbers, LEVEL).chance_by_draw(np.array([4.0]))
    assert chance.shape == (2, 1)
    for draw, single in enumerate((known(), known(mean=(1.0, 0.06)))):
        crossing = drawn_fades(single, 4000, seed=5).crossing
        assert chance[draw, 0] == pytest.approx((crossing <= 4.0).mean(), abs=0.03)
