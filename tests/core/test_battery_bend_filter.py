"""What the branching filter makes of tests, against the same thing computed by brute force."""

from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special, stats

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.doubt import doubts
from fleet.core.battery.bend.filtering import BRANCHES, WIDEST, filtered, grouped
from fleet.core.battery.bend.histories import (
    ASSUMED_REMOVAL_SD,
    FadeTests,
    Histories,
    lay_out,
    removal_level,
    rough_life,
)
from fleet.core.battery.bend.outlook import outlook
from fleet.core.battery.bend.parameters import FadeNumbers
from fleet.core.errors import BadValueError
from tests.core.bend_cases import LEVEL, drawn_fades, known, one_pack

AGES = [0.4, 1.1, 2.0, 2.7, 3.5]


def moments_of(numbers: FadeNumbers, age: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The mean and covariance of the true fractions at `age`, written down directly."""
    bent = numbers.bend[0] * age ** numbers.power[0]
    design = np.column_stack([np.ones(len(age)), -age])
    mean = design @ numbers.mean[:, 0] - bent
    covariance = design @ numbers.spread[:, :, 0] @ design.T + numbers.bend_spread[0] * np.outer(bent, bent)
    return mean, covariance + numbers.stray[0] * np.minimum.outer(age, age)


def test_without_wrong_tests_the_likelihood_is_the_joint_normal_density() -> None:
    """With next to no gross errors the filter gives the joint normal density of a pack's tests, kinds too."""
    numbers = known(gross=1e-9, noise=(0.02, 0.05, 0.05))
    age, value, kind = np.array(AGES), np.array([0.99, 0.95, 0.96, 0.86, 0.84]), np.array([0, 1, 0, 0, 1])
    mean, covariance = moments_of(numbers, age)
    expected = stats.multivariate_normal(mean, covariance + np.diag(numbers.noise[kind, 0])).logpdf(value)
    found = filtered(one_pack(AGES, value.tolist(), kind=kind.tolist()), numbers).log_likelihood
    assert_allclose(found, [[expected]], atol=1e-6)


def test_the_state_at_the_last_test_is_that_of_the_joint_normal() -> None:
    """Conditioning the joint normal of fractions on all tests gives the filter's level and its variance."""
    numbers = known(gross=1e-9)
    age, value = np.array(AGES), np.array([0.99, 0.95, 0.96, 0.86, 0.84])
    mean, covariance = moments_of(numbers, age)
    gain = np.linalg.solve(covariance + numbers.noise[0, 0] * np.eye(5), covariance[:, -1])
    states = filtered(one_pack(AGES, value.tolist()), numbers)
    assert states.mean[0, 0, 0, 0] == pytest.approx(mean[-1] + gain @ (value - mean))
    assert states.covariance[0, 0, 0, 0, 0] == pytest.approx(covariance[-1, -1] - gain @ covariance[:, -1])


@pytest.mark.parametrize(
    "value", [[0.99, 0.3, 0.93, 0.9, 0.86], [0.99, 0.95, 0.3, 0.2, 0.84], [0.7, 0.95, 0.92, 0.9, 1.2]]
)
def test_branches_keep_nearly_all_of_the_likelihood(value: list[float]) -> None:
    """The kept branches give, within two per cent, the sum over all combinations of good and wrong tests."""
    numbers, age = known(), np.array(AGES)
    mean, covariance = moments_of(numbers, age)
    total = 0.0
    for good in product([False, True], repeat=5):
        rows = np.flatnonzero(good)
        weight = numbers.gross[0] ** (5 - len(rows)) * (1 - numbers.gross[0]) ** len(rows) / WIDEST ** (5 - len(rows))
        part = covariance[np.ix_(rows, rows)] + numbers.noise[0, 0] * np.eye(len(rows))
        density = stats.multivariate_normal(mean[rows], part).pdf(np.array(value)[rows]) if len(rows) else 1.0
        total += weight * float(density)
    found = filtered(one_pack(AGES, value), numbers, branches=BRANCHES).log_likelihood[0, 0]
    assert found == pytest.approx(np.log(total), abs=0.02)


CASES: list[tuple[list[float], list[bool]]] = [
    ([0.99, 0.95, 0.93, 0.90, 0.87], [False] * 5),
    ([0.99, 0.45, 0.93, 0.90, 0.87], [False] * 5),
    ([0.99, 0.95, 0.50, 0.40, 0.87], [False] * 5),
    ([0.99, 0.95, 0.93, 0.90, 0.55], [False] * 5),
    ([0.99, 0.95, 0.93, 0.84, 0.78], [False] * 5),
    ([0.99, 0.95, 0.88, 0.93, 0.86], [False, False, True, True, False]),
    ([0.97, 0.90, 0.93, 0.91, 0.91], [False, False, False, True, True]),
    ([0.97, 0.30, 0.93, 0.99, 0.87], [False, False, False, True, False]),
]


@pytest.mark.parametrize(("value", "bound"), CASES)
def test_crossing_chances_are_those_of_brute_force_quadrature(value: list[float], bound: list[bool]) -> None:
    """A fine grid over start and fade gives the same chances within 0.06, with wrong tests and with early stops."""
    numbers = known(stray=1e-6, bend=1e-9, mean=(1.0, 0.045), sd=(0.02, 0.015))
    start, fade = np.meshgrid(np.linspace(0.9, 1.1, 401), np.linspace(-0.03, 0.12, 601), indexing="ij")
    weight = np.exp(-0.5 * ((start - 1.0) / 0.02) ** 2 - 0.5 * ((fade - 0.045) / 0.015) ** 2)
    for age, y, censored in zip(AGES, value, bound, strict=True):
        z = (y - start + fade * age) / 0.02
        good = special.ndtr(-z) if censored else stats.norm.pdf(z) / 0.02
        weight *= 0.95 * good + 0.05 * (1.0 if censored else 1 / WIDEST)
    law = outlook(one_pack(AGES, value, bound), numbers, LEVEL)
    for age in (3.6, 4.5, 5.5, 7.0):
        exact = weight[start - fade * age <= LEVEL].sum() / weight.sum()
        assert law(np.array([age]))[0] == pytest.approx(exact, abs=0.06)


def test_a_pack_that_came_in_late_is_known_to_have_been_above_the_level() -> None:
    """Its level at entry is normal, truncated at the removal level, and its likelihood has no factor for it."""
    numbers = known()
    histories = lay_out(FadeTests.of([], [], []), 1, entry_age=np.array([4.0]), entry_level=LEVEL)
    states = filtered(histories, numbers)
    mean, covariance = moments_of(numbers, np.array([4.0]))
    sd = float(np.sqrt(covariance[0, 0]))
    survivors = stats.truncnorm((LEVEL - mean[0]) / sd, np.inf, mean[0], sd)
    assert states.mean[0, 0, 0, 0] == pytest.approx(survivors.mean())
    assert np.sqrt(states.covariance[0, 0, 0, 0, 0]) == pytest.approx(survivors.std())
    assert states.log_likelihood[0, 0] == 0.0


def test_groups_hold_every_pack_once_and_change_nothing() -> None:
    """Split by bounds and doubt, the packs' chances are those of each pack alone, in the caller's rows."""
    drawn = drawn_fades(known(), 60, seed=3)
    bound = np.zeros(len(drawn.tests.pack), dtype=bool)
    bound[::9] = True
    tests = FadeTests.of(drawn.tests.pack, drawn.tests.age_years, drawn.tests.fraction, bound)
    histories = lay_out(tests, 60)
    rows = np.concatenate([group.row for group, _ in grouped(histories, known())])
    assert sorted(rows.tolist()) == list(range(60))
    together = outlook(histories, known(), LEVEL)(np.full(60, 6.0))
    for pack in range(0, 60, 7):
        own = tests.pack == pack
        alone = one_pack(tests.age_years[own].tolist(), tests.fraction[own].tolist(), bound[own].tolist())
        assert outlook(alone, known(), LEVEL)(np.array([6.0]))[0] == pytest.approx(together[pack])


def test_several_sets_of_numbers_at_once_are_each_by_itself() -> None:
    """Sets filtered together give what each gives alone."""
    histories = lay_out(drawn_fades(known(), 20, seed=5).tests, 20)
    one, other = known(), known(bend=0.01, gross=0.1)
    both = FadeNumbers(*(np.concatenate([getattr(each, name) for each in (one, other)], axis=-1) for name in vars(one)))
    found = filtered(histories, both).log_likelihood
    for each, row in zip((one, other), found, strict=True):
        assert_allclose(filtered(histories, each).log_likelihood[0], row)


def test_a_sudden_rise_stands_out() -> None:
    """A jump of a fifth upwards is far beyond four standard deviations of what the earlier tests let expect."""
    tests = FadeTests.of([0] * 4, [0.5, 1.5, 2.5, 3.0], [0.98, 0.93, 0.85, 1.05])
    found = doubts(tests, lay_out(tests, 1), known()).surprise
    assert found[3] > 4
    assert np.abs(found[:3]).max() < 3


def test_a_test_of_a_pack_that_is_not_there_is_refused() -> None:
    """The message names the field and the number of packs."""
    with pytest.raises(BadValueError, match="2 packs"):
        lay_out(FadeTests.of([0, 2], [1.0, 1.0], [0.9, 0.9]), 2)


def test_the_removal_level_is_learned_from_packs_that_went() -> None:
    """The middle and spread of the last tests under the level, or what is assumed where they are few."""
    last = np.concatenate([np.random.default_rng(1).normal(0.74, 0.02, 200), [0.05, 0.95, 0.99]])
    level, sd = removal_level(last, LEVEL)
    assert level == pytest.approx(0.74, abs=0.005)
    assert sd == pytest.approx(0.02, abs=0.005)
    assert removal_level(last[:5], LEVEL) == (LEVEL, ASSUMED_REMOVAL_SD)


@pytest.mark.parametrize("unit", [1.0, 365.25])
def test_a_rough_life_is_roughly_right_in_any_unit(unit: float) -> None:
    """Packs that lose a fifth in four years get a rough life between three and six, whatever the time is counted in."""
    tests = drawn_fades(known(mean=(1.0, 0.05), bend=1e-9), 40, seed=2).tests
    histories: Histories = lay_out(FadeTests.of(tests.pack, tests.age_years * unit, tests.fraction), 40)
    assert 3 < rough_life(histories) / unit < 6
