"""Short charges, cycles a year, and which tests are wrong."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fleet.core.battery.bend.borrowing import TypeRecord, fit_types
from fleet.core.battery.bend.doubt import doubts
from fleet.core.battery.bend.filtering import filtered
from fleet.core.battery.bend.fit import fit_fade_numbers
from fleet.core.battery.bend.histories import OUTSIDE_TABLE, PLAIN, SHORT_CHARGE, FadeTests, lay_out
from fleet.core.battery.bend.parameters import CHARGE, CYCLES, KINDS, assumed_prior
from fleet.core.errors import BadValueError
from tests.core.bend_cases import LEVEL, drawn_fades, known

HELD = [CHARGE, CYCLES, KINDS, KINDS + 1]


def test_a_short_charge_lowers_what_a_test_reads() -> None:
    """A test short by a quarter of its charge is one that read an eighth more after a full one; a bound too."""
    ages, short, bound = [1.0, 2.0, 3.0], [0.0, 0.25, 0.25], [False, False, True]
    low = FadeTests.of([0] * 3, ages, [0.96, 0.80, 0.70], bound, shortfall=short)
    full = FadeTests.of([0] * 3, ages, [0.96, 0.925, 0.825], bound)
    found, expected = (filtered(lay_out(tests, 1), known(charge=0.5)) for tests in (low, full))
    assert_allclose(found.mean, expected.mean)
    assert_allclose(found.log_likelihood, expected.log_likelihood)


def test_the_state_after_a_short_charge_is_that_of_brute_force_quadrature() -> None:
    """A grid over one pack's start, fade and bend gives the same fraction; the kind has its own noise."""
    numbers, ages, value = known(stray=1e-9, gross=1e-12), [0.5, 1.5, 3.0], [0.98, 0.80, 0.91]
    tests = FadeTests.of([0] * 3, ages, value, None, [PLAIN, SHORT_CHARGE, PLAIN], shortfall=[0.0, 0.3, 0.0])
    start, fade, bend = np.meshgrid(
        np.linspace(0.9, 1.1, 101), np.linspace(-0.03, 0.1, 131), np.linspace(-0.6, 2.6, 61), indexing="ij"
    )
    log_weight = ((start - 1) / 0.02) ** 2 + ((fade - 0.035) / 0.01) ** 2 + ((bend - 1) / 0.3) ** 2
    for age, y, short, sd in zip(ages, value, (0.0, 0.3, 0.0), (0.02, 0.04, 0.02), strict=True):
        log_weight += ((y + 0.5 * short - start + fade * age + bend * 0.003 * age**2) / sd) ** 2
    weight = np.exp(-0.5 * log_weight)
    weight /= weight.sum()
    last = start - 3.0 * fade - 9.0 * 0.003 * bend
    states = filtered(lay_out(tests, 1), numbers)
    mean = float((weight * last).sum())
    assert states.mean[0, 0, 0, 0] == pytest.approx(mean, abs=1e-4)
    sd = np.sqrt(states.covariance[0, 0, 0, 0, 0])
    assert sd == pytest.approx(np.sqrt((weight * (last - mean) ** 2).sum()), rel=0.01)


def test_what_a_short_charge_costs_is_learned() -> None:
    """From tests of which every third was short, the cost per missing part comes out within three deviations."""
    drawn = drawn_fades(known(), 200, seed=31)
    rng = np.random.default_rng(3)
    short = np.where(rng.uniform(size=len(drawn.tests.pack)) < 1 / 3, rng.uniform(0.1, 0.5, len(drawn.tests.pack)), 0.0)
    value = np.maximum(drawn.tests.fraction - 0.8 * short, 0.0)
    kind = np.where(short > 0, SHORT_CHARGE, PLAIN)
    tests = FadeTests.of(drawn.tests.pack, drawn.tests.age_years, value, None, kind, shortfall=short)
    fit = fit_fade_numbers(lay_out(tests, 200), assumed_prior(4.0), draws=8)
    sd = np.sqrt(fit.covariance[CHARGE, CHARGE])
    assert abs(fit.mode[CHARGE] - 0.8) < 3 * sd < 0.2
    assert fit.draws[:, CHARGE].std() > 0


def test_what_cycles_cost_is_learned() -> None:
    """Packs whose mean fade goes with the power 0.8 of their cycles a year give that power within three deviations."""
    use = np.tile([-0.7, 0.0, 0.7], 100)
    tests = [
        drawn_fades(known(mean=(1.0, 0.035 * np.exp(0.8 * level))), 100, seed=seed).tests
        for seed, level in ((41, -0.7), (42, 0.0), (43, 0.7))
    ]
    pack = np.concatenate([3 * each.pack + group for group, each in enumerate(tests)])
    age, value = (np.concatenate([getattr(each, name) for each in tests]) for name in ("age_years", "fraction"))
    fit = fit_fade_numbers(lay_out(FadeTests.of(pack, age, value), 300, use=use), assumed_prior(4.0), draws=8)
    sd = np.sqrt(fit.covariance[CYCLES, CYCLES])
    assert abs(fit.mode[CYCLES] - 0.8) < 3 * sd < 0.5
    assert fit.draws[:, CYCLES].std() > 0


def test_numbers_without_data_are_held() -> None:
    """Plain full tests without cycles leave four numbers at their prior mean in every draw, and as wide as before."""
    fit = fit_fade_numbers(lay_out(drawn_fades(known(), 40, seed=7).tests, 40), assumed_prior(4.0), draws=8)
    assert_allclose(fit.draws[:, HELD], np.tile(fit.prior.mean[HELD], (8, 1)))
    assert_allclose(np.sqrt(np.diag(fit.covariance)[HELD]), fit.prior.sd[HELD])


def test_a_power_of_use_is_borrowed() -> None:
    """A type with three packs takes what cycles cost from the many of its chemistry."""
    use = np.tile([-0.7, 0.7], 100)
    halves = [
        drawn_fades(known(mean=(1.0, 0.035 * np.exp(0.8 * level))), 100, seed=seed).tests
        for seed, level in ((51, -0.7), (52, 0.7))
    ]
    pack = np.concatenate([2 * each.pack + group for group, each in enumerate(halves)])
    age, value = (np.concatenate([getattr(each, name) for each in halves]) for name in ("age_years", "fraction"))
    few = drawn_fades(known(), 3, seed=53).tests
    records = {
        "many": TypeRecord("NiMH", FadeTests.of(pack, age, value), 200, np.zeros(200), LEVEL, 0.0, use),
        "few": TypeRecord("NiMH", few, 3, np.zeros(3), LEVEL, 0.0),
    }
    assert fit_types(records, draws=8)["few"].mode[CYCLES] == pytest.approx(0.8, abs=0.25)


def planted() -> tuple[FadeTests, np.ndarray]:
    """Eighty drawn packs of five tests, one test of every eighth pack wrong, the last test of some a bound."""
    rng = np.random.default_rng(9)
    pack, age = np.repeat(np.arange(80), 5), np.tile([0.5, 1.2, 1.9, 2.6, 3.3], 80)
    fade = rng.normal(0.035, 0.008, 80)
    value = 1.0 - fade[pack] * age - 0.003 * age**2 + rng.normal(0.0, 0.015, 400)
    wrong = np.zeros(400, dtype=bool)
    wrong[np.arange(0, 80, 8) * 5 + np.arange(10) % 4] = True
    value[wrong] -= 0.3
    bound = np.zeros(400, dtype=bool)
    bound[np.arange(3, 80, 8) * 5 + 4] = True
    mix = rng.permutation(400)
    return FadeTests.of(pack[mix], age[mix], value[mix], bound[mix]), wrong[mix]


def test_a_wrong_test_is_known_as_such_and_sound_ones_are_not_accused() -> None:
    """The chance of being a gross error is over 0.95 for planted ones and under 0.2 for the others, none for bounds."""
    tests, wrong = planted()
    chance = doubts(tests, lay_out(tests, 80), known(gross=0.04)).gross
    assert np.isnan(chance[tests.bound]).all()
    assert chance[wrong].min() > 0.95
    assert np.nanmax(chance[~wrong]) < 0.2


def test_a_wrong_test_does_not_make_the_next_one_a_surprise() -> None:
    """Planted low tests stand out themselves; those after them do not, since the wrong one was set aside."""
    tests, wrong = planted()
    found = doubts(tests, lay_out(tests, 80), known(gross=0.04)).surprise
    assert found[wrong].max() < -4
    assert np.nanmax(np.abs(found[~wrong])) < 4


@pytest.mark.parametrize(("kind", "short", "field"), [(OUTSIDE_TABLE + 1, 0.0, "kind"), (PLAIN, 1.2, "shortfall")])
def test_an_unknown_kind_or_an_impossible_shortfall_is_refused(kind: int, short: float, field: str) -> None:
    """The message names the field and the row."""
    with pytest.raises(BadValueError, match=rf"{field}\[0\]"):
        FadeTests.of([0], [1.0], [0.9], None, [kind], shortfall=[short])
