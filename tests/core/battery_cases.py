"""Invented types of battery packs, drawn from a straight or a bending fade, so that the truth is known."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.forecast import TypeForecast, forecast
from fleet.core.battery.foreseen import Packs

MEAN = np.array([1.02, 0.05])
SPREAD = np.array([[0.0004, 0.00009], [0.00009, 0.000225]])
NOISE_SD = 0.02
LEVEL = 0.80
NO_VISIT = float("nan")


@dataclass(frozen=True)
class DrawnType:
    """A type drawn from a law: its tests, its packs, each pack's true start and fade (P, 2), and the common bend."""

    tests: FadeTests
    packs: Packs
    truth: FloatArray
    bend: float = 0.0

    @property
    def true_crossing(self) -> FloatArray:
        """The age at which each pack's true course passes the level; infinity where it never falls."""
        start, fade = self.truth.T
        if self.bend:
            return (-fade + np.sqrt(fade**2 + 4 * self.bend * (start - LEVEL))) / (2 * self.bend)
        return np.where(fade > 0, (start - LEVEL) / np.where(fade > 0, fade, 1.0), np.inf)

    def true_fraction(self, age: FloatArray) -> FloatArray:
        """The true fraction (P,) at an age (P,)."""
        return np.asarray(self.truth[:, 0] - self.truth[:, 1] * age - self.bend * age**2)


def columns(pack: IntArray, age: FloatArray, fraction: FloatArray) -> FadeTests:
    """Full tests, every one a plain value."""
    return FadeTests.of(pack, age, fraction)


def drawn_type(
    seed: int,
    *,
    packs: int = 40,
    tests_each: int = 4,
    mean: FloatArray = MEAN,
    spread: FloatArray = SPREAD,
    noise_sd: float = NOISE_SD,
    bend: float = 0.0,
) -> DrawnType:
    """Packs 0.5 to 6 years old with up to `tests_each` tests (the first four have all), the visit half a year on."""
    rng = np.random.default_rng(seed)
    truth = rng.multivariate_normal(mean, spread, packs)
    today = rng.uniform(0.5, 6.0, packs)
    today[:2] = 0.5, 6.0
    count = rng.integers(0, tests_each + 1, packs)
    count[:4] = tests_each
    pack = np.repeat(np.arange(packs), count)
    age = rng.uniform(0.0, 1.0, len(pack)) * today[pack]
    fraction = truth[pack, 0] - truth[pack, 1] * age - bend * age**2 + rng.normal(0.0, noise_sd, len(pack))
    packs_today = Packs(today, today + 0.5, today + 1.5)
    return DrawnType(columns(pack, age, np.maximum(fraction, 0.0)), packs_today, truth, bend)


def with_test(
    tests: FadeTests,
    pack: int,
    age: float,
    fraction: float,
    *,
    early: bool = False,
    kind: int = 0,
    shortfall: float = 0.0,
) -> FadeTests:
    """Give the tests and one more, a full one unless said otherwise."""
    return FadeTests(
        pack=np.append(tests.pack, pack),
        age_years=np.append(tests.age_years, age),
        fraction=np.append(tests.fraction, fraction),
        bound=np.append(tests.bound, early),
        kind=np.append(tests.kind, kind),
        shortfall=np.append(tests.shortfall, shortfall),
    )


def with_packs(packs: Packs, today: float, visit: float = NO_VISIT) -> Packs:
    """Give the packs and one more."""
    return Packs(np.append(packs.age_today, today), np.append(packs.age_next_visit, visit))


@cache
def usual() -> tuple[DrawnType, TypeForecast]:
    """A type of 40 packs and its forecast: its numbers serve where only one pack's tests are changed."""
    case = drawn_type(1)
    return case, forecast(case.tests, case.packs, level=LEVEL)


def changed(tests: FadeTests, packs: Packs) -> TypeForecast:
    """The forecast of changed tests under the usual type's numbers."""
    return forecast(tests, packs, level=LEVEL, fit=usual()[1].fit)
