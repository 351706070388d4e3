"""The law of crossing ages."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fleet.core.battery.arrays import BoolArray, FloatArray
from fleet.core.battery.crossing import LineCrossing, chance_below_at, crossing_quantile
from fleet.core.battery.fade import FadePosterior
from fleet.core.battery.normal import bivariate_normal_cdf

LEVEL = 0.80
AGES = np.linspace(0.0, 20.0, 81)


def lines(mean: list[float], sd: list[float], correlation: float, count: int = 1) -> FadePosterior:
    """`count` packs of which the same is known: mean and SD of start and fade, their correlation."""
    scale = np.diag(sd)
    covariance = scale @ np.array([[1.0, correlation], [correlation, 1.0]]) @ scale
    return FadePosterior(np.tile(mean, (count, 1)), np.tile(covariance, (count, 1, 1)))


@st.composite
def any_line(draw: st.DrawFn) -> FadePosterior:
    """One line at each of AGES, fading or not, known well or badly."""
    mean = [draw(st.floats(0.5, 1.2)), draw(st.floats(-0.1, 0.2))]
    sd = [draw(st.floats(0.0, 0.1)), draw(st.floats(0.0, 0.1))]
    return lines(mean, sd, draw(st.floats(-1.0, 1.0)), len(AGES))


def today(age: float, count: int = len(AGES)) -> FloatArray:
    """Give the same age today for every row."""
    return np.full(count, age)


@given(any_line(), st.floats(0.0, 10.0), st.floats(0.3, 1.0))
def test_the_chance_of_having_crossed_never_falls_with_age(line: FadePosterior, now: float, level: float) -> None:
    """The law rises with age from 0 to 1, also for lines that may rise."""
    chance = LineCrossing(line, level, today(now))(AGES)
    assert (np.diff(chance) >= -1e-7).all()
    assert (chance >= 0).all()
    assert (chance <= 1).all()


@given(any_line(), st.floats(0.0, 10.0), st.floats(0.3, 1.0), st.floats(0.0, 0.2))
def test_a_higher_level_is_crossed_no_later(line: FadePosterior, now: float, level: float, more: float) -> None:
    """Raising the level raises the chance of having crossed it after today."""
    later = np.maximum(AGES, now)
    lower = LineCrossing(line, level, today(now))(later)
    higher = LineCrossing(line, level + more, today(now))(later)
    assert (higher >= lower - 1e-7).all()


@given(any_line(), st.floats(0.0, 10.0))
def test_having_crossed_by_today_is_being_below_today(line: FadePosterior, now: float) -> None:
    """At today's age both forms of the law are the chance of being below the level."""
    chance = LineCrossing(line, LEVEL, today(now))(today(now))
    assert_allclose(chance, chance_below_at(line, LEVEL, today(now)), atol=1e-7)


@given(any_line(), st.floats(0.1, 10.0), st.floats(0.01, 100.0))
def test_the_unit_of_time_does_not_matter(line: FadePosterior, now: float, unit: float) -> None:
    """Ages in another unit, with the fade in that unit, give the same chances."""
    turn = np.diag([1.0, 1 / unit])
    other = FadePosterior(line.mean @ turn, turn @ line.covariance @ turn)
    expected = LineCrossing(line, LEVEL, today(now))(AGES)
    assert_allclose(LineCrossing(other, LEVEL, today(now * unit))(AGES * unit), expected, atol=1e-6)


@pytest.mark.parametrize("now", [0.0, 3.0])
@pytest.mark.parametrize(
    ("mean", "sd", "correlation"), [([1.0, 0.02], [0.05, 0.03], 0.4), ([0.9, 0.0], [0.1, 0.05], 0.8)]
)
def test_the_law_is_that_of_drawn_lines(mean: list[float], sd: list[float], correlation: float, now: float) -> None:
    """Counting 400,000 drawn lines that have passed the level gives the same chances, rising lines included."""
    line = lines(mean, sd, correlation, len(AGES))
    start, fade = np.random.default_rng(1).multivariate_normal(mean, line.covariance[0], 400_000).T

    def below(age: float) -> BoolArray:
        return np.asarray(start - fade * age <= LEVEL)

    law = LineCrossing(line, LEVEL, today(now))(AGES)
    for age, chance in zip(AGES[::8], law[::8], strict=True):
        crossed = below(age) | below(now) if age >= now else below(age) & below(now)
        assert chance == pytest.approx(crossed.mean(), abs=4e-3)


def test_a_line_that_cannot_rise_needs_no_correction() -> None:
    """Where the fade is surely positive the law is the chance of being below, whatever day it is."""
    line = lines([1.02, 0.05], [0.02, 0.004], 0.3, len(AGES))
    for now in (0.0, 4.0, 9.0):
        assert_allclose(LineCrossing(line, LEVEL, today(now))(AGES), chance_below_at(line, LEVEL, AGES), atol=1e-7)


def test_quantiles_undo_the_law() -> None:
    """The law at a quantile is the probability asked for, for each pack by itself."""
    both = FadePosterior(np.array([[1.02, 0.05], [0.95, 0.02]]), np.tile(np.diag([4e-4, 1e-4]), (2, 1, 1)))
    law = LineCrossing(both, LEVEL, np.array([1.0, 2.0]))
    for probability in (0.1, 0.5, 0.9):
        ages = crossing_quantile(law, probability, np.array([60.0, 60.0]))
        reached = np.isfinite(ages)
        assert reached[0]
        assert_allclose(law(ages)[reached], probability, atol=1e-6)


def test_a_sure_line_crosses_where_it_does() -> None:
    """A line known exactly crosses at (start - level) / fade, whatever the probability."""
    law = LineCrossing(lines([1.0, 0.04], [0.0, 0.0], 0.0), LEVEL, today(2.0, 1))
    for probability in (0.1, 0.5, 0.9):
        assert_allclose(crossing_quantile(law, probability, np.array([20.0])), 5.0, atol=1e-5)


def test_never_and_always() -> None:
    """A crossing beyond the horizon is infinite, one before the pack was new is 0: neither is a made-up age."""
    rising, gone = lines([1.0, -0.05], [0.01, 0.001], 0.0), lines([0.5, 0.05], [0.01, 0.001], 0.0)
    horizon = np.array([15.0])
    assert_array_equal(crossing_quantile(LineCrossing(rising, LEVEL, today(1.0, 1)), 0.5, horizon), [np.inf])
    assert_array_equal(crossing_quantile(LineCrossing(gone, LEVEL, today(1.0, 1)), 0.5, horizon), [0.0])


@given(st.floats(-40, 40), st.floats(-40, 40), st.floats(-1, 1))
def test_bivariate_chances_are_chances(h: float, k: float, correlation: float) -> None:
    """The joint chance lies between the Frechet bounds for any limits and any correlation."""
    one, other, both = (
        float(bivariate_normal_cdf(np.array(a), np.array(b), np.array(correlation)))
        for a, b in ((h, 40.0), (40.0, k), (h, k))
    )
    assert max(0.0, one + other - 1) - 1e-7 <= both <= min(one, other) + 1e-7
