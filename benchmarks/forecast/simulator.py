"""Invented fleets with known truth: drivers ("slots") whose packs are tested, replaced and renewed over the years.

Fades outside the model's dictionary are among them: a kink, a flattening curve, steps. All choices are invented; they
aim at lives of about four years, a test a year at most, and some wrong tests. A mixed fleet has a large type, one that
lasts longer and bends late, and a small one of the first's chemistry that lasts shorter.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.forecast.fleets import LEVEL, Fleet, Packs, TypeFleet, type_fleet
from fleet.core.battery.arrays import BoolArray, FloatArray
from fleet.core.battery.bend.histories import FadeTests

YEARS = 16.0
_GRID = np.arange(0.0, YEARS + 1e-9, 1 / 24)
# Share of failing tests after which the pack goes; true fraction at which it goes without a test.
SEEN_TO, DEAD = 0.9, 0.6


@dataclass(frozen=True)
class Scene:
    """What a simulated fleet is like."""

    slots: int
    fade: str = "bend"
    gross_share: float = 0.04
    noise: float = 0.02
    stray: float = 0.012
    early_stops: float = 0.08
    tested: float = 0.7
    record_years: float = 6.0
    """Nothing older than this is on record: packs fitted before come in at mid-life."""
    pace: float = 1.0
    """How many times as fast as usual the packs age."""


def _line(t: FloatArray, b: FloatArray, _: FloatArray) -> FloatArray:
    return np.asarray(b * t)


def _bend(t: FloatArray, b: FloatArray, _: FloatArray) -> FloatArray:
    return np.asarray(0.7 * b * t + 0.004 * t**2)


def _knee(t: FloatArray, b: FloatArray, u: FloatArray) -> FloatArray:
    return np.asarray(0.6 * b * t + 0.15 * np.maximum(t - 3.2 - 0.8 * u, 0.0))


def _flattening(t: FloatArray, b: FloatArray, _: FloatArray) -> FloatArray:
    return np.asarray(1.9 * b * t**0.7)


def _steps(t: FloatArray, b: FloatArray, u: FloatArray) -> FloatArray:
    return np.asarray(0.6 * b * t + 0.05 * (t > 1.5 + u) + 0.06 * (t > 3.5 + 1.5 * u))


FADES: dict[str, Callable[[FloatArray, FloatArray, FloatArray], FloatArray]] = {
    "line": _line,
    "bend": _bend,
    "knee": _knee,
    "flattening": _flattening,
    "steps": _steps,
}


# Share of the slots, chemistry, fade and pace of the types of a mixed fleet.
MIXED = ((0.55, "nickel", "bend", 1.0), (0.35, "lithium", "knee", 0.7), (0.1, "nickel", "bend", 1.4))


def one_type(scene: Scene) -> Callable[[int], Fleet]:
    """Return the drawing, by seed, of a fleet of one type as on record today."""
    return lambda seed: (_drawn(scene, "one", np.random.default_rng(seed)),)


def mixed_types(scene: Scene) -> Callable[[int], Fleet]:
    """Return the drawing, by seed, of a fleet of the types in MIXED; fade and pace of `scene` are not looked at."""

    def draw(seed: int) -> Fleet:
        rng = np.random.default_rng(seed)
        parts = (
            (replace(scene, slots=round(share * scene.slots), fade=fade, pace=pace), chemistry)
            for share, chemistry, fade, pace in MIXED
        )
        return tuple(_drawn(part, chemistry, rng) for part, chemistry in parts)

    return draw


def _drawn(scene: Scene, chemistry: str, rng: np.random.Generator) -> TypeFleet:
    fitted = rng.uniform(0.0, 6.0, scene.slots)
    phase = rng.uniform(0.0, 1.0, scene.slots)
    columns: list[tuple[FloatArray, ...]] = []
    rows: list[tuple[FloatArray, ...]] = []
    before = 0
    while (fitted < YEARS).any():
        life = _Generation(scene, fitted, phase, rng)
        seen = (fitted < YEARS) & (life.removed > YEARS - scene.record_years)
        rows.append(life.packs(seen))
        columns.append(life.tests(seen, before))
        before += int(seen.sum())
        fitted = life.removed
    end, crossing, entry, serving = (np.concatenate(values) for values in zip(*rows, strict=True))
    pack, age, fraction, bound = (np.concatenate(values) for values in zip(*columns, strict=True))
    packs = Packs(end, entry, serving == 0, crossing, (serving > 0) & (crossing > end))
    return type_fleet(chemistry, packs, FadeTests.of(pack.astype(np.int64), age, fraction, bound > 0))


class _Generation:
    """One pack in each slot, from `fitted` on: its course, its tests at the slot's yearly visits, its removal."""

    def __init__(self, scene: Scene, fitted: FloatArray, phase: FloatArray, rng: np.random.Generator) -> None:
        self.scene, self.fitted = scene, fitted
        count = len(fitted)
        start = rng.normal(1.01, 0.02, count)
        rate = np.exp(rng.normal(np.log(0.05), 0.28, count))
        walk = np.cumsum(rng.normal(0, scene.stray * np.sqrt(1 / 24), (count, len(_GRID))), axis=1)
        late = rng.uniform(0.0, 1.0, count)
        self.course = start[:, None] - FADES[scene.fade](scene.pace * _GRID[None], rate[:, None], late[:, None]) + walk
        self.crossing = _first_below(self.course)
        self.visits = phase[:, None] + np.arange(YEARS)[None]
        age = self.visits - fitted[:, None]
        self.age = np.maximum(age, 0.0)
        truth = np.take_along_axis(self.course, np.minimum((self.age * 24).astype(int), len(_GRID) - 1), axis=1)
        self.value = np.maximum(truth + rng.normal(0, scene.noise, truth.shape), 0.0)
        gross = rng.uniform(size=truth.shape) < scene.gross_share
        self.value[gross] = np.maximum(truth + rng.normal(-0.1, 0.2, truth.shape), 0.0)[gross]
        self.bound = rng.uniform(size=truth.shape) < scene.early_stops
        self.value[self.bound] *= rng.uniform(0.7, 1.0, truth.shape)[self.bound]
        self.tested = (age > 0) & (self.visits < YEARS) & (rng.uniform(size=truth.shape) < scene.tested)
        self.removed = self._removal(truth, age, rng)

    def _removal(self, truth: FloatArray, age: FloatArray, rng: np.random.Generator) -> FloatArray:
        failing = self.tested & ~self.bound & (self.value < LEVEL) & (rng.uniform(size=truth.shape) < SEEN_TO)
        dead = (age > 0) & (truth < DEAD)
        first = np.where(failing | dead, self.visits, np.inf).min(axis=1)
        lost = self.fitted + rng.exponential(30.0, len(self.fitted))
        return np.minimum(first, lost)

    def packs(self, seen: BoolArray) -> tuple[FloatArray, ...]:
        """Return age today or at removal, crossing age, age at entry into the record, and 1 if in service."""
        end = np.minimum(self.removed, YEARS)
        entry = np.maximum(YEARS - self.scene.record_years - self.fitted, 0.0)
        values = (end - self.fitted, self.crossing, entry, (self.removed > YEARS).astype(float))
        return tuple(each[seen] for each in values)

    def tests(self, seen: BoolArray, before: int) -> tuple[FloatArray, ...]:
        """Return pack, age, fraction and bound of the tests on record, packs numbered from `before`."""
        record = (self.visits > YEARS - self.scene.record_years) & (self.visits <= self.removed[:, None])
        rows, at = np.nonzero(self.tested & record & seen[:, None])
        number = before + np.cumsum(seen) - 1
        return number[rows].astype(float), self.age[rows, at], self.value[rows, at], self.bound[rows, at].astype(float)


def _first_below(course: FloatArray) -> FloatArray:
    below = course <= LEVEL
    at = np.maximum(np.argmax(below, axis=1), 1)
    rows = np.arange(len(course))
    high, low = course[rows, at - 1], course[rows, at]
    share = np.clip((high - LEVEL) / np.maximum(high - low, 1e-12), 0.0, 1.0)
    return np.asarray(np.where(below.any(axis=1), _GRID[at - 1] + share * (_GRID[at] - _GRID[at - 1]), np.inf))
