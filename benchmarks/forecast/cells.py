"""Fleets drawn from real cells: 1 to 6 noisy tests a cell, the cell's own measured course being the truth."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.forecast.fleets import LEVEL, LIFE_YEARS, Fleet, Packs, TypeFleet, type_fleet
from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.histories import FadeTests

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "battery"
NOISE = 0.02
# NASA's cells: values under this share of the record's middle are aborted tests; the course is the middle of so many
# values; a cell belongs in if its first values are near its best ones, so that its load stayed the same.
ABORTED, SMOOTHED, STEADY = 0.5, 9, 0.85
FIRST = 5


@dataclass(frozen=True, eq=False)
class Cell:
    """A cell's record: `age` in years, `fraction` a test there would read (of its first capacity).

    `crossing`: age at which its course falls under LEVEL, infinite if the record ends before. `whole`: whether a test
    may fall between two ages; else it is one of the values, aborted ones among them.
    """

    chemistry: str
    age: FloatArray
    fraction: FloatArray
    crossing: float
    whole: bool = True

    def read(self, age: FloatArray) -> FloatArray:
        """Return what tests at `age` would read but for their error."""
        if self.whole:
            return np.interp(age, self.age, self.fraction)
        return self.fraction[np.abs(self.age[:, None] - age).argmin(axis=0)]


def knee_cells() -> list[Cell]:
    """Return the 48 cells of `baumhofer2014_capacity.csv`."""
    table = pd.read_csv(DATA / "baumhofer2014_capacity.csv")
    courses = []
    for _, rows in table.groupby("cell"):
        mean = rows.groupby("cycle")["capacity_ah"].mean()
        courses.append((mean.index.to_numpy(float), (mean / mean.iloc[0]).to_numpy()))
    lives = np.array([_first_below(cycle, fraction) for cycle, fraction in courses])
    unit = LIFE_YEARS / lives.mean()
    return [Cell("knee", c * unit, f, life * unit) for (c, f), life in zip(courses, lives, strict=True)]


def nasa_cells() -> list[Cell]:
    """Return the cells of `nasa_pcoe_capacity.csv` whose load and surroundings stayed the same, by temperature.

    Their life is 80 % of their own first capacity, since those in the cold begin far under the rating. Within a
    temperature the mean known life is called LIFE_YEARS; of cells none of which crosses, that of all.
    """
    table = pd.read_csv(DATA / "nasa_pcoe_capacity.csv").dropna(subset="capacity_ah")
    found: list[tuple[int, FloatArray, FloatArray, float]] = []
    for _, rows in table.groupby("cell"):
        ambient, value = int(rows["ambient_c"].iloc[0]), rows["capacity_ah"].to_numpy(float)
        sound = value > ABORTED * np.median(value)
        course = pd.Series(value[sound]).rolling(SMOOTHED, center=True, min_periods=1).median().to_numpy()
        cycle, first = rows["cycle"].to_numpy(float), float(np.median(value[sound][:FIRST]))
        steady = bool((rows["ambient_c"] == ambient).all()) and first >= STEADY * course.max()
        if steady and len(course) > SMOOTHED:
            found.append((ambient, cycle, value / first, _first_below(cycle[sound], course / first)))
    lives = pd.DataFrame([(ambient, life) for ambient, _, _, life in found], columns=["ambient", "life"])
    known = lives[np.isfinite(lives.life)]
    mean = known.groupby("ambient").life.mean()
    unit = {ambient: LIFE_YEARS / mean.get(ambient, known.life.mean()) for ambient in lives.ambient.unique()}
    return [Cell(f"{a} C", c * unit[a], f, life * unit[a], whole=False) for a, c, f, life in found]


def _first_below(cycle: FloatArray, fraction: FloatArray) -> float:
    if not (fraction < LEVEL).any():
        return np.inf
    at = int(np.argmax(fraction < LEVEL))
    share = (fraction[at - 1] - LEVEL) / (fraction[at - 1] - fraction[at])
    return float(cycle[at - 1] + share * (cycle[at] - cycle[at - 1]))


def thinned(cells: list[Cell], *, mature: bool) -> Callable[[int], Fleet]:
    """Return the drawing of fleets by seed: young ones (all packs at 0.25 to 0.75 of a life), or mature ones.

    In mature ones about 35 % of the packs are retired. Each type of the fleet is what a chemistry's cells make.
    """
    names = sorted({cell.chemistry for cell in cells})
    of = {name: [cell for cell in cells if cell.chemistry == name] for name in names}

    def draw(seed: int) -> Fleet:
        rng = np.random.default_rng(seed)
        return tuple(_drawn(name, of[name], rng, mature=mature) for name in names)

    return draw


def _drawn(chemistry: str, cells: list[Cell], rng: np.random.Generator, *, mature: bool) -> TypeFleet:
    """Return one type, whose tests fall anywhere between new and today.

    A pack is retired soon after crossing, with a test that shows it. Nobody looks at a cell after its record's end, and
    only known crossings are scored.
    """
    crossing = np.array([cell.crossing for cell in cells])
    low, high = (0.35, 1.43) if mature else (0.25, 0.75)
    today = rng.uniform(low, high, len(cells)) * LIFE_YEARS
    retired = today > crossing + 0.05 * LIFE_YEARS
    spent = np.where(np.isfinite(crossing), crossing, 0.0) + rng.uniform(0.0, 0.05, len(cells)) * LIFE_YEARS
    end = np.minimum(np.where(retired, spent, today), [cell.age[-1] for cell in cells])
    count = rng.integers(1, 7, len(cells))
    pack = np.repeat(np.arange(len(cells)), count)
    age = rng.uniform(0.0, 1.0, len(pack)) * end[pack]
    last = np.cumsum(count) - 1
    age[last[retired]] = end[retired]
    truth = np.concatenate([cell.read(age[pack == row]) for row, cell in enumerate(cells)])
    fraction = np.maximum(truth + rng.normal(0.0, NOISE, len(pack)), 0.0)
    scored = ~retired & (end < crossing) & np.isfinite(crossing)
    packs = Packs(end, np.zeros(len(cells)), retired, crossing, scored)
    return type_fleet(chemistry, packs, FadeTests.of(pack, age, fraction))
