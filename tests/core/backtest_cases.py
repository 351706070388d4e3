"""Invented records of a type's packs over some years, with the true crossing of each pack."""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.backtest import BacktestPacks, Record
from fleet.core.battery.bend.histories import FadeTests

LEVEL = 0.80
# Years on the record's clock: nothing older is on record, and the record ends.
BEGINS, ENDS = 8.0, 14.0
ORIGINS = np.arange(BEGINS + 2.5, ENDS - 1.0, 0.5)
_GRID = np.arange(0.0, 16.0, 0.02)
_GENERATIONS = 8


@dataclass(frozen=True, eq=False)
class DrawnRecord:
    """A record with the true age of crossing of each pack (P,)."""

    record: Record
    crossing: FloatArray


def drawn_record(seed: int, *, slots: int = 80, noise: float = 0.015, gross: float = 0.02) -> DrawnRecord:
    """Drivers whose packs are tested about once a year and go at the first test that shows them below.

    Packs differ in start and fade, bend, and stray a little; a fifth of the yearly visits make no test; one removal in
    fifty a year is for another reason.
    """
    rng = np.random.default_rng(seed)
    fitted, phase = rng.uniform(0.0, 4.0, slots), rng.uniform(0.0, 1.0, slots)
    rows, columns = [], []
    for _ in range(_GENERATIONS):
        start, fade = rng.normal(1.0, 0.015, slots), np.exp(rng.normal(np.log(0.03), 0.3, slots))
        walk = np.cumsum(rng.normal(0.0, 0.008 * np.sqrt(0.02), (slots, len(_GRID))), axis=1)
        course = start[:, None] - fade[:, None] * _GRID - 0.005 * _GRID**2 + walk
        crossing = _GRID[np.argmax(course <= LEVEL, axis=1)]
        visit = phase[:, None] + np.arange(ENDS)
        age = visit - fitted[:, None]
        value = np.take_along_axis(course, np.clip((age / 0.02).astype(int), 0, len(_GRID) - 1), axis=1)
        value = np.maximum(value + rng.normal(0.0, noise, value.shape), 0.0)
        wrong = rng.uniform(size=value.shape) < gross
        value[wrong] = rng.uniform(0.0, 1.2, int(wrong.sum()))
        made = (age > 0) & (visit > BEGINS) & (rng.uniform(size=age.shape) < 0.8)
        low = (made & (value < LEVEL)) | ((age > 0) & (visit <= BEGINS) & (value < LEVEL))
        worn_at = np.where(low, visit, np.inf).min(axis=1)
        other_at = fitted + rng.exponential(50.0, slots)
        removed = np.minimum(worn_at, other_at)
        seen = (removed > BEGINS) & (fitted < ENDS)
        made &= (visit <= removed[:, None]) & seen[:, None]
        number = sum(len(each[0]) for each in rows) + np.cumsum(seen) - 1
        slot, at = np.nonzero(made)
        columns.append((number[slot], age[slot, at], value[slot, at]))
        gone = np.where(removed > ENDS, np.nan, removed)
        entry = np.maximum(BEGINS - fitted, 0.0)
        pool = np.where(np.arange(slots) % 2, "odd", "even")
        rows.append(tuple(each[seen] for each in (fitted, gone, worn_at <= other_at, entry, pool, crossing)))
        fitted = removed
    pack, age, value = (np.concatenate(each) for each in zip(*columns, strict=True))
    *facts, crossing = (np.concatenate(each) for each in zip(*rows, strict=True))
    facts[2] &= np.isfinite(facts[1])
    return DrawnRecord(Record(FadeTests.of(pack, age, value), BacktestPacks(*facts), LEVEL), crossing)
