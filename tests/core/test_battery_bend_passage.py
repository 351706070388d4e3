"""First passage of a bending, wandering fade."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.passage import Course
from tests.core.bend_cases import LEVEL


def course(
    level: float,
    fade: float,
    *,
    sd: tuple[float, float, float] = (0.0, 0.0, 0.0),
    r: float = 0.0,
    bend: float = 0.0,
    power: float = 2.0,
    stray: float = 0.02,
    age: float = 0.0,
    count: int = 1,
) -> Course:
    """One pack's state, `count` times over: level and fade with their SDs and correlation r; the bend's SD third."""
    covariance = np.diag(np.square(sd))
    covariance[0, 1] = covariance[1, 0] = r * sd[0] * sd[1]
    return Course(
        age=np.full(count, age),
        mean=np.tile(np.array([level, fade, 1.0])[:, None], (1, count)),
        covariance=np.tile(covariance[:, :, None], (1, 1, count)),
        bend=np.array(bend),
        power=np.array(power),
        stray=np.array(stray**2),
    )


def simulated(state: Course, ages: FloatArray, seed: int = 1) -> FloatArray:
    """The share of 40,000 simulated paths that have touched the level by each age, bridges between steps included."""
    rng = np.random.default_rng(seed)
    u, b, g = rng.multivariate_normal(state.mean[:, 0], state.covariance[:, :, 0], 40_000).T
    alive, now, step, shares = np.where(u > LEVEL, 1.0, 0.0), float(state.age[0]), 0.02, []
    stray, power = float(state.stray), float(state.power)
    for target in ages:
        while now < target - 1e-9:
            bent = state.bend * ((now + step) ** power - now**power)
            then = u - b * step - g * bent + rng.normal(0.0, np.sqrt(stray * step), len(u))
            touch = np.exp(-2 * np.maximum(u - LEVEL, 0) * np.maximum(then - LEVEL, 0) / (stray * step))
            alive *= np.where(then > LEVEL, 1 - touch, 0.0)
            u, now = then, now + step
        shares.append(1 - alive.mean())
    return np.array(shares)


AHEAD = np.array([0.2, 1.0, 2.0, 3.0, 5.0])
STATES = {
    "clear": course(0.95, 0.05, sd=(0.015, 0.01, 0.0), r=-0.4, age=1.0, count=5),
    "bending": course(0.93, 0.02, sd=(0.015, 0.008, 0.3), bend=0.006, age=2.0, count=5),
    "sharp knee": course(0.93, 0.02, sd=(0.01, 0.005, 0.3), bend=0.0006, power=4.0, age=2.0, count=5),
    "at the level": course(0.805, 0.01, sd=(0.015, 0.01, 0.2), r=0.3, bend=0.003, age=3.0, count=5),
    "wandering": course(0.9, 0.01, sd=(0.01, 0.005, 0.0), stray=0.05, age=1.0, count=5),
    "risen together": course(1.0, 0.0, sd=(0.031, 0.031, 0.0), r=0.5, stray=0.015, age=1.0, count=5),
    "below": course(0.79, 0.0, sd=(0.01, 0.005, 0.0), stray=0.01, age=1.0, count=5),
}


@pytest.mark.parametrize("name", list(STATES))
def test_the_law_is_that_of_simulated_paths(name: str) -> None:
    """Simulated paths touch the level as often as the law says, within 0.02."""
    state = STATES[name]
    ages = float(state.age[0]) + AHEAD
    assert np.abs(state.chance_passed(ages, LEVEL) - simulated(state, ages)).max() < 0.02


def test_before_the_last_test_the_chance_is_at_most_that_of_being_below_then() -> None:
    """Behind the last test the law rises to the chance of being below at it."""
    state = course(0.79, 0.05, sd=(0.01, 0.01, 0.0), age=4.0, count=41)
    chance = state.chance_passed(np.linspace(0.0, 4.0, 41), LEVEL)
    assert (np.diff(chance) >= -1e-3).all()
    assert chance[-1] == pytest.approx(0.8413, abs=1e-3)


@st.composite
def any_course(draw: st.DrawFn) -> Course:
    """A state over 61 ages, from well above the level to below it, known well or badly."""
    return course(
        draw(st.floats(0.7, 1.1)),
        draw(st.floats(0.0, 0.2)),
        sd=(draw(st.floats(0.001, 0.05)), draw(st.floats(0.0, 0.05)), 0.3),
        r=draw(st.floats(-0.9, 0.9)),
        bend=draw(st.floats(0.0, 0.02)),
        stray=draw(st.floats(0.001, 0.1)),
        age=draw(st.floats(0.0, 6.0)),
        count=61,
    )


@given(any_course())
def test_chances_are_chances_and_hardly_ever_fall(state: Course) -> None:
    """For any state the law lies from 0 to 1 and nowhere falls by more than 0.04, its error near the level."""
    chance = state.chance_passed(state.age + np.linspace(0.0, 12.0, 61), LEVEL)
    assert (chance >= 0).all()
    assert (chance <= 1).all()
    assert (np.maximum.accumulate(chance) - chance < 0.04).all()
