"""The numbers of a type, drawn; what it borrows; crossings from them; and their correction by known ones."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.borrowing import TypeRecord, fit_types, type_prior
from fleet.core.battery.bend.filtering import filtered
from fleet.core.battery.bend.fit import FEW_DRAWS, fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out
from fleet.core.battery.bend.outlook import crossing_ages, outlook
from fleet.core.battery.bend.parameters import (
    BEND,
    BEND_SD,
    CHARGE,
    FADE,
    GROSS,
    POWER,
    START,
    STRAY,
    FadePrior,
    assumed_prior,
)
from fleet.core.battery.bend.ranks import LEAST_RANKS, Recalibration, recalibration
from fleet.core.battery.crossing import crossing_quantile
from fleet.core.errors import BadValueError
from tests.core.bend_cases import LEVEL, drawn_fades, known, one_pack


def straight_prior() -> FadePrior:
    """No bend, no straying, no wrong tests; nearly nothing assumed of the rest."""
    prior = assumed_prior(4.0)
    mean, sd = prior.mean.copy(), 20 * prior.sd
    for off, at in ((BEND, -20.0), (POWER, 0.0), (BEND_SD, -5.0), (STRAY, -15.0), (GROSS, -25.0)):
        mean[off], sd[off] = at, 1e-3
    return replace(prior, mean=mean, sd=sd)


def test_the_straight_special_case_is_the_mixed_model() -> None:
    """Without bend, straying and wrong tests the mode is statsmodels' ML fit, and so is a pack's fade."""
    tests = drawn_fades(known(bend=1e-9, stray=1e-6, gross=1e-9, sd=(0.03, 0.012)), 150, seed=4).tests
    histories = lay_out(tests, 150)
    found = fit_fade_numbers(histories, straight_prior()).numbers()
    design = np.column_stack([np.ones(len(tests.pack)), -tests.age_years])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = MixedLM(tests.fraction, design, groups=tests.pack, exog_re=design).fit(reml=False)
    assert_allclose(found.mean[:, 0], reference.fe_params, rtol=2e-3)
    assert_allclose(found.spread[:, :, 0], reference.cov_re, rtol=0.03, atol=3e-6)
    assert found.noise[0, 0] == pytest.approx(reference.scale, rel=0.02)
    states = filtered(histories, found)
    effects = np.array([reference.random_effects[pack] for pack in histories.row])
    assert_allclose(states.mean[1, 0, 0], reference.fe_params[1] + effects[:, 1], atol=2e-4)


def test_drawn_numbers_hold_the_truth() -> None:
    """Of 400 drawn packs, true numbers lie within four deviations, and draws spread as stated within a factor of 3."""
    truth = known(mean=(1.0, 0.03), bend=0.004)
    fit = fit_fade_numbers(lay_out(drawn_fades(truth, 400, seed=6).tests, 400), assumed_prior(4.0), draws=200)
    sd = np.sqrt(np.diag(fit.covariance))
    expected = {START: 1.0, FADE: np.log(0.03 * 4), BEND: np.log(0.004 * 16), GROSS: np.log(0.05 / 0.95)}
    for index, value in expected.items():
        assert abs(fit.mode[index] - value) < 4 * sd[index]
    assert_allclose(fit.draws.std(axis=0)[:CHARGE], sd[:CHARGE], rtol=0.65)


def test_packs_seen_only_from_mid_life_do_not_make_fades_look_slow() -> None:
    """With survivors' entry known the mean fade is right; taken as if always there, it comes out too low."""
    truth = known(bend=1e-9, stray=1e-4, gross=1e-4, mean=(1.0, 0.05), sd=(0.01, 0.015))
    drawn = drawn_fades(truth, 1500, seed=8, latest=9.0)
    entry = np.where(np.arange(1500) % 2 == 0, 4.0, 0.0)
    seen = drawn.crossing > entry
    row = np.cumsum(seen) - 1
    kept = seen[drawn.tests.pack] & (drawn.tests.age_years >= entry[drawn.tests.pack])
    some = drawn.tests.rows(kept)
    tests = FadeTests.of(row[some.pack], some.age_years, some.fraction)
    prior = straight_prior()
    packs = int(seen.sum())
    cured = fit_fade_numbers(lay_out(tests, packs, entry_age=entry[seen], entry_level=LEVEL), prior, draws=4)
    naive = fit_fade_numbers(lay_out(tests, packs), prior, draws=4)
    assert cured.numbers().mean[1, 0] == pytest.approx(0.05, rel=0.025)
    assert naive.numbers().mean[1, 0] < 0.048


def test_a_type_without_a_test_is_its_prior() -> None:
    """Its draws spread as the prior does, and say that they rest on nothing."""
    fit = fit_fade_numbers(lay_out(FadeTests.of([], [], []), 3), assumed_prior(4.0), draws=100)
    assert fit.packs == fit.tests == 0
    assert_allclose(fit.mode, fit.prior.mean, atol=1e-3)
    assert_allclose(fit.draws.std(axis=0)[:CHARGE], fit.prior.sd[:CHARGE], rtol=0.4)
    assert fit.prior.source == "assumed"


def test_a_small_type_borrows_from_its_chemistry() -> None:
    """Three packs with a test each end near the fade of the many of their chemistry, not of the others."""
    slow, fast = known(mean=(1.0, 0.02), bend=1e-4), known(mean=(1.0, 0.09), bend=1e-4)
    records = {
        name: TypeRecord(
            chemistry, drawn_fades(numbers, packs, seed, latest=2.0).tests, packs, np.zeros(packs), LEVEL, 0.0
        )
        for name, chemistry, numbers, packs, seed in (
            ("a", "NiMH", slow, 120, 1),
            ("b", "Li-ion", fast, 120, 2),
            ("c", "NiMH", slow, 3, 3),
        )
    }
    fits = fit_types(records, draws=8)
    assert fits["c"].prior.source == "other types of NiMH"
    assert fits["b"].prior.source == "types of other chemistries"
    assert fits["c"].numbers().mean[1, 0] < 0.04
    assert fits["b"].numbers().mean[1, 0] > 0.06
    assert type_prior("Li-ion", []).source == "assumed"
    assert type_prior("nimh", [records["a"], records["b"]]).source == "other types of nimh"
    unstated = replace(records["c"], chemistry="")
    assert type_prior("", [unstated]).source == "types of other chemistries"


def horizons(histories: Histories, years: float) -> FloatArray:
    """Ages of the packs, in the caller's rows, so many years after their last test."""
    found = np.empty(len(histories))
    found[histories.row] = histories.last_age + years
    return found


@pytest.mark.parametrize("years", [1.0, 15.0])
@pytest.mark.parametrize("chances", [np.array([0.1, 0.5, 0.9]), np.array([0.3]), np.arange(1, 100) / 100], ids=len)
def test_crossing_ages_undo_the_law(chances: FloatArray, years: float) -> None:
    """By the ages found packs have crossed with the chances asked, within .03; endless ages are those of bisection."""
    histories = lay_out(drawn_fades(known(), 80, seed=9).tests, 80)
    fit = fit_fade_numbers(histories, assumed_prior(4.0), draws=8)
    law, horizon = outlook(histories, fit.drawn_numbers(), LEVEL), horizons(histories, years)
    found = crossing_ages(histories, fit.drawn_numbers(), LEVEL, chances, years)
    assert (found[1:] >= found[:-1]).all()
    for chance, ages in zip(chances, found, strict=True):
        exact = crossing_quantile(law, chance, horizon)
        reached = np.isfinite(exact)
        assert (np.isfinite(ages) == reached).mean() > 0.98
        ahead = reached & (exact > horizon - years)
        assert ahead.sum() > (20 if years > 1 else 0)
        assert np.abs(law(np.where(ahead, ages, 0.0)) - chance)[ahead].max() < 0.03


def test_a_packs_crossing_ages_do_not_depend_on_the_packs_beside_it() -> None:
    """Every fifth pack alone, one with a test in doubt among them, has the ages it has among all."""
    histories = lay_out(drawn_fades(known(gross=0.2), 100, seed=10).tests, 100)
    chances = np.array([0.1, 0.5, 0.9])
    together = crossing_ages(histories, known(), LEVEL, chances, 15.0)
    for row in range(0, 100, 5):
        alone = crossing_ages(histories.of_packs(np.array([row])), known(), LEVEL, chances, 15.0)[:, 0]
        assert_allclose(alone, together[:, row], rtol=1e-9)


def test_more_noise_in_a_kind_is_learned() -> None:
    """Tests of a kind drawn three times as noisy get a variance several times that of plain ones."""
    drawn = drawn_fades(known(gross=1e-6), 200, seed=11)
    kind = np.arange(len(drawn.tests.pack)) % 2
    value = drawn.tests.fraction + kind * np.random.default_rng(1).normal(0.0, 0.06, len(kind))
    tests = FadeTests.of(drawn.tests.pack, drawn.tests.age_years, np.maximum(value, 0.0), None, kind)
    noise = fit_fade_numbers(lay_out(tests, 200), assumed_prior(4.0), draws=4).numbers().noise[:, 0]
    assert 4 < noise[1] / noise[0] < 25


def covered(seed: int, *, given: bool) -> float:
    """Share of 400 drawn packs whose crossing lies in their 80 % interval, the type's numbers given or drawn."""
    truth = known(power=2.5)
    drawn = drawn_fades(truth, 400, seed=seed, latest=3.0)
    histories = lay_out(drawn.tests, 400)
    numbers = truth if given else fit_fade_numbers(histories, assumed_prior(4.0), draws=32).drawn_numbers()
    low, high = crossing_ages(histories, numbers, LEVEL, np.array([0.1, 0.9]), 20.0)
    return float(np.mean((drawn.crossing >= low) & (drawn.crossing <= high)))


def test_intervals_hold_their_share_of_packs_drawn_from_the_model() -> None:
    """The 80 % interval holds 76 to 84 % with the type's numbers given; drawn, which all packs share, 70 to 90 %."""
    seeds = (12, 13, 14, 15)
    assert 0.76 < np.mean([covered(seed, given=True) for seed in seeds]) < 0.84
    assert 0.70 < np.mean([covered(seed, given=False) for seed in seeds]) < 0.90


def test_even_ranks_correct_nothing_and_few_are_not_used() -> None:
    """Evenly spread ranks give nearly Beta(1, 1); fewer than forty give exactly that."""
    even = (np.arange(200) + 0.5) / 200
    found = recalibration(even, even)
    assert_allclose(found.chance(np.linspace(0, 1, 11)), np.linspace(0, 1, 11), atol=0.01)
    assert recalibration(even[:39], even[:39]) == Recalibration()


def test_forty_ranks_harm_right_forecasts_little_and_mend_those_that_are_too_sure() -> None:
    """100 times: .10 stays within .04 to .16 in 9 of 10 where it is right; where it should be .205 it comes near."""

    def corrected(shape: float) -> FloatArray:
        drawn = stats.beta(shape, shape).rvs((100, LEAST_RANKS), random_state=3)
        return np.array([recalibration(each, each).chance(np.array([0.1]))[0] for each in drawn])

    assert np.quantile(corrected(1.0), 0.05) > 0.04
    assert np.quantile(corrected(1.0), 0.95) < 0.16
    assert 0.16 < np.median(corrected(0.5)) < 0.21


def test_late_forecasts_are_corrected() -> None:
    """Where crossings come earlier than forecast, the corrected chance is theirs, censored ranks included."""
    ranks = stats.beta(0.5, 1.0).rvs(400, random_state=1)
    censored = np.arange(400) % 5 == 0
    low = np.where(censored, ranks / 2, ranks)
    found = recalibration(low, np.where(censored, 1.0, ranks))
    assert found.chance(np.array([0.25]))[0] == pytest.approx(0.5, abs=0.08)
    assert found.chance(np.array([found.forecast_chance(0.3)]))[0] == pytest.approx(0.3)
    assert found.ranks == 400


def test_a_rank_outside_its_range_is_refused() -> None:
    """The message names the field and the row."""
    with pytest.raises(BadValueError, match=r"low\[1\]"):
        recalibration(np.array([0.5, 1.5]), np.array([0.5, 1.0]))


def test_one_test_more_moves_the_forecast() -> None:
    """With the type's numbers kept, a low second test brings the crossing forward."""
    ages = [
        crossing_ages(one_pack([1.0, 2.0][:n], [0.96, 0.86][:n]), known(), LEVEL, np.array([0.5]), 15.0)[0, 0]
        for n in (1, 2)
    ]
    assert ages[1] < ages[0]


def test_no_power_is_beyond_what_years_can_be_raised_to() -> None:
    """Wide proposals for a few packs of another chemistry end at a knee of t^10, at any age, without overflow."""
    prior = assumed_prior(4.0)
    wild = prior.mean.copy()
    wild[POWER] = 7.0
    drawn = prior.numbers(wild)
    assert drawn.power[0] == pytest.approx(10.0)
    law = outlook(one_pack([1.0, 30.0], [0.95, 0.9]), drawn, LEVEL)
    assert 0 <= law(np.array([60.0]))[0] <= 1


def test_few_draws_are_enough_for_a_large_type() -> None:
    """Of 5000 fitted packs eight draws give medians and 80 % intervals within 2 % of the width that 64 draws give."""
    histories = lay_out(drawn_fades(known(), 5000, seed=17).tests, 5000)
    few = fit_fade_numbers(histories, assumed_prior(4.0))
    assert len(few.draws) == FEW_DRAWS
    rng = np.random.default_rng(1)
    many = few.prior.numbers(rng.multivariate_normal(few.mode, few.covariance * (few.draws.std(axis=0) > 0), 64))
    some = histories.chosen(np.arange(0, 5000, 25)).in_own_order()
    chances = np.array([0.1, 0.5, 0.9])
    found, wanted = (crossing_ages(some, numbers, LEVEL, chances, 15.0) for numbers in (few.drawn_numbers(), many))
    assert np.isfinite(wanted).all()
    loss = np.abs(found - wanted) / (wanted[2] - wanted[0])
    assert np.median(loss, axis=1).max() < 0.02
