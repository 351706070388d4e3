"""Bending fades with known numbers, and packs drawn from them."""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out
from fleet.core.battery.bend.parameters import FadeNumbers

LEVEL = 0.80


def known(
    *,
    mean: tuple[float, float] = (1.0, 0.035),
    sd: tuple[float, float] = (0.02, 0.01),
    noise: tuple[float, float, float] = (0.02, 0.04, 0.04),
    stray: float = 0.01,
    bend: float = 0.003,
    power: float = 2.0,
    bend_sd: float = 0.3,
    gross: float = 0.05,
    charge: float = 0.5,
    cycles: float = 0.3,
) -> FadeNumbers:
    """One set of numbers; `noise`, `stray` and the others as standard deviations."""
    return FadeNumbers(
        mean=np.array(mean)[:, None],
        spread=np.diag(np.square(sd))[:, :, None],
        noise=np.square(noise)[:, None],
        stray=np.array([stray**2]),
        bend=np.array([bend]),
        power=np.array([power]),
        bend_spread=np.array([bend_sd**2]),
        gross=np.array([gross]),
        charge=np.array([charge]),
        cycles=np.array([cycles]),
    )


def one_pack(
    age: list[float], fraction: list[float], bound: list[bool] | None = None, kind: list[int] | None = None
) -> Histories:
    """The history of a single pack."""
    return lay_out(FadeTests.of([0] * len(age), age, fraction, bound, kind), 1)


@dataclass(frozen=True, eq=False)
class DrawnFades:
    """Packs drawn from known numbers: their tests, and the true crossing age of each (inf: not in twenty years)."""

    tests: FadeTests
    crossing: FloatArray


def drawn_fades(numbers: FadeNumbers, packs: int, seed: int, *, latest: float = 4.0, most_tests: int = 5) -> DrawnFades:
    """Draw packs with one to `most_tests` tests between new and `latest` years, some of them wrong."""
    rng = np.random.default_rng(seed)
    grid = np.arange(0.0, 20.0, 0.02)
    line = rng.multivariate_normal(numbers.mean[:, 0], numbers.spread[:, :, 0], packs)
    own_bend = rng.normal(1.0, np.sqrt(numbers.bend_spread[0]), packs) * numbers.bend[0]
    walk = np.cumsum(rng.normal(0.0, np.sqrt(numbers.stray[0] * 0.02), (packs, len(grid))), axis=1)
    walk -= walk[:, :1]
    course = line[:, :1] - line[:, 1:] * grid - own_bend[:, None] * grid ** numbers.power[0] + walk
    below = course <= LEVEL
    crossing = np.where(below.any(axis=1), grid[np.argmax(below, axis=1)], np.inf)
    pack = np.repeat(np.arange(packs), rng.integers(1, most_tests + 1, packs))
    at = rng.integers(0, int(latest / 0.02), len(pack))
    value = course[pack, at] + rng.normal(0.0, np.sqrt(numbers.noise[0, 0]), len(pack))
    wrong = rng.uniform(size=len(pack)) < numbers.gross[0]
    value = np.where(wrong, rng.uniform(0.0, 1.3, len(pack)), np.maximum(value, 0.0))
    return DrawnFades(FadeTests.of(pack, grid[at], value), crossing)
