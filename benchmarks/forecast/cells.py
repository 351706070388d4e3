"""Fleets drawn from real cells: 1 to 6 noisy tests a cell, the cell's own measured course being the truth."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "battery"
LEVEL = 0.80
NOISE = 0.02
# What is called a year: the mean life is set to this many, so that ages look like a pack's.
LIFE_YEARS = 4.0


@dataclass(frozen=True, eq=False)
class Fleet:
    """A fleet as its keeper sees it today, and the truth. Tests (N,), packs (P,), ages in years.

    `scored` (P,): packs still in service that have not crossed yet. `life`: the unit scores are given in.
    """

    pack: IntArray
    age: FloatArray
    fraction: FloatArray
    today: FloatArray
    crossing: FloatArray
    scored: BoolArray
    life: float
    entry: FloatArray | None = None
    bound: BoolArray | None = None
    removed: BoolArray | None = None


@dataclass(frozen=True, eq=False)
class Cell:
    """A cell's measured course: ages in years, fractions of its first capacity, age at which it crosses LEVEL."""

    age: FloatArray
    fraction: FloatArray
    crossing: float


def knee_cells() -> list[Cell]:
    """Return the 48 cells of `baumhofer2014_capacity.csv`."""
    table = pd.read_csv(DATA / "baumhofer2014_capacity.csv")
    courses = []
    for _, rows in table.groupby("cell"):
        mean = rows.groupby("cycle")["capacity_ah"].mean()
        courses.append((mean.index.to_numpy(float), (mean / mean.iloc[0]).to_numpy()))
    lives = np.array([_first_below(cycle, fraction) for cycle, fraction in courses])
    unit = LIFE_YEARS / lives.mean()
    return [Cell(c * unit, f, life * unit) for (c, f), life in zip(courses, lives, strict=True)]


def _first_below(cycle: FloatArray, fraction: FloatArray) -> float:
    at = int(np.argmax(fraction < LEVEL))
    share = (fraction[at - 1] - LEVEL) / (fraction[at - 1] - fraction[at])
    return float(cycle[at - 1] + share * (cycle[at] - cycle[at - 1]))


def fleet_of(cells: list[Cell], seed: int, *, mature: bool) -> Fleet:
    """Return a young fleet (all packs at 0.25 to 0.75 of a life) or one in which about 35 % of the packs are retired.

    Tests fall anywhere between new and today; a pack is retired soon after crossing, with a test that shows it.
    """
    rng = np.random.default_rng(seed)
    crossing = np.array([cell.crossing for cell in cells])
    low, high = (0.35, 1.35) if mature else (0.25, 0.75)
    today = rng.uniform(low, high, len(cells)) * LIFE_YEARS
    retired = today > crossing + 0.05 * LIFE_YEARS
    end = np.where(retired, crossing + rng.uniform(0.0, 0.05, len(cells)) * LIFE_YEARS, today)
    count = rng.integers(1, 7, len(cells))
    pack = np.repeat(np.arange(len(cells)), count)
    age = rng.uniform(0.0, 1.0, len(pack)) * end[pack]
    last = np.cumsum(count) - 1
    age[last[retired]] = end[retired]
    truth = np.array([np.interp(a, cells[p].age, cells[p].fraction) for p, a in zip(pack, age, strict=True)])
    fraction = np.maximum(truth + rng.normal(0.0, NOISE, len(pack)), 0.0)
    return Fleet(pack, age, fraction, end, crossing, ~retired & (today < crossing), LIFE_YEARS)
