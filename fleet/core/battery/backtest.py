"""Rolling the clock through the record: what would have been forecast then, and what became known since.

At each origin only the tests, fittings and removals of before are used. Packs on record and in service then, whose last
full test was not below the level, are forecast by every way and held against what is known now: the crossing lies
between the last full test above the level and the first below it after that, or the removal as worn. Packs still
serving, or replaced for any other reason, are right-censored at their last full test above. So replaced packs stay in,
on both sides. Cycle counts and other types are not used: a type is forecast from its own tests and a rough life.

A test says no more than its own error: one that lies less than TEST_ERROR from the level leaves open the time in which
a pack loses the difference. A low test with a good one after it is taken as wrong; one after which the pack went
counts, although some of those are wrong too, and count against the forecast.

The recalibration for an origin comes from the ranks of earlier origins, as far as they were known at that origin
(prequential: A. P. Dawid, JRSS A 147 (1984) 278-292, from memory). All origins of a pack count in it, so that its
evidence is counted more than once; it is not used before LEAST_RANKS different packs are known to have crossed.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray, same_length
from fleet.core.battery.bend.histories import LIFE_LOSS, FadeTests, lay_out, rough_life
from fleet.core.battery.bend.ranks import LEAST_RANKS, Recalibration, recalibration
from fleet.core.battery.scores import CrossingLaws, Score, Truths, ranks, score
from fleet.core.battery.ways import POINTS, WAYS, Effort, Known, is_value, last_values

#: Plain tests of a type before an origin is forecast from (own choice).
LEAST_TESTS = 8
#: What a test is taken to repeat to (assumed, as in `bend.parameters`).
TEST_ERROR = 0.02
BEST, CORRECTED = "bend", "corrected"
Progress = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class BacktestPacks:
    """P packs of a type. `fitted`, `removed` (P,): years on the record's clock, `removed` nan for those in service.

    `worn` (P,): taken out as worn. `entry_age` (P,): years, at which each came into the record (0: new). `group` (P,):
    a label of each, for scores by it.
    """

    fitted: FloatArray
    removed: FloatArray
    worn: BoolArray
    entry_age: FloatArray
    group: NDArray[Any]

    def __post_init__(self) -> None:
        """Check the columns. Raises BadValueError where their lengths differ."""
        same_length(**vars(self))

    def __len__(self) -> int:
        """Return P."""
        return len(self.fitted)


@dataclass(frozen=True, eq=False)
class Record:
    """All that is on record of a type: its tests, its packs and its replacement level."""

    tests: FadeTests
    packs: BacktestPacks
    level: float

    @property
    def tested_at(self) -> FloatArray:
        """Return when each test (N,) was made, years on the record's clock."""
        return np.asarray(self.packs.fitted[self.tests.pack] + self.tests.age_years)


@dataclass(frozen=True, eq=False)
class Forecasts:
    """N forecasts: `pack` row and `origin` (N,), years on the record's clock; `tests` (N,): of the pack, before it.

    `laws`: by way; `corrected`: those of the bend model after recalibration. `low`, `high` (N,): ages between which
    the crossing is known to lie. `next_age` (N,): at the next full test or removal as worn, nan where there was none or
    it lay too near the level to tell; `next_below`.
    """

    pack: IntArray
    group: NDArray[Any]
    origin: FloatArray
    tests: IntArray
    laws: dict[str, CrossingLaws]
    corrected: CrossingLaws
    low: FloatArray
    high: FloatArray
    next_age: FloatArray
    next_below: BoolArray

    def __len__(self) -> int:
        """Return N."""
        return len(self.pack)

    def of(self, rows: BoolArray | IntArray) -> "Forecasts":
        """Return some of them."""
        return Forecasts(
            laws={name: law.of(rows) for name, law in self.laws.items()},
            corrected=self.corrected.of(rows),
            **{name: getattr(self, name)[rows] for name in _COLUMNS},
        )

    def law(self, way: str) -> CrossingLaws:
        """Return the laws of a way, or those CORRECTED."""
        return self.corrected if way == CORRECTED else self.laws[way]

    def score(self, way: str, *, limit: float = 0.1) -> Score:
        """Return the score of a way, or of those CORRECTED. Raises NotEnoughDataError without forecasts."""
        return score(self.law(way), Truths(self.low, self.high, self.pack), limit=limit, band=way not in POINTS)


_COLUMNS: dict[str, Any] = {
    "pack": np.int64, "group": "U1", "origin": np.float64, "tests": np.int64, "low": np.float64, "high": np.float64,
    "next_age": np.float64, "next_below": np.bool_,
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class BacktestResult:
    """The forecasts of which something is known since, and the correction for forecasts made from now on."""

    forecasts: Forecasts
    origins: FloatArray
    recalibration: Recalibration


def joined(parts: Iterable[Forecasts]) -> Forecasts:
    """Return the forecasts of several types, their packs told apart."""
    each = list(parts)
    first = np.cumsum([0, *(int(part.pack.max(initial=-1)) + 1 for part in each)])
    return _side_by_side([replace(part, pack=part.pack + start) for part, start in zip(each, first, strict=False)])


def backtest(
    record: Record,
    origins: FloatArray,
    *,
    until: float,
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> BacktestResult:
    """Forecast from each of `origins` (rising, years on the record's clock) with what was known, and keep the truth.

    `until`: the clock now; later tests and removals are not looked at. Origins with fewer than LEAST_TESTS plain tests
    before them are left out. `progress` hears how many origins are done, and of how many.
    """
    made: list[_Origin] = []
    for done, at in enumerate(origins):
        if progress:
            progress(done, len(origins))
        before = _recalibration(made, record, float(at))
        found = _Origin.of(record, float(at), effort or Effort(), before)
        made += [found] if found else []
    return BacktestResult(
        forecasts=_side_by_side([origin.forecasts(record, until) for origin in made]),
        origins=np.array([origin.at for origin in made]),
        recalibration=_recalibration(made, record, until),
    )


def known_crossings(record: Record, until: float) -> tuple[FloatArray, FloatArray]:
    """Return the ages (P,), low and high, between which each pack is known at `until` to have crossed.

    Low is 0 for a pack without a full test above; high is infinite for one not known to have crossed.
    """
    packs = record.packs
    seen = record.tests.rows(is_value(record.tests) & (record.tested_at <= until))
    pack, age, gap = seen.pack, seen.age_years, seen.fraction - record.level
    slack = np.maximum(TEST_ERROR - np.abs(gap), 0.0) * rough_life(lay_out(seen, len(packs))) / LIFE_LOSS
    last_above, low = np.full(len(packs), -np.inf), np.zeros(len(packs))
    above = gap >= 0
    np.maximum.at(last_above, pack[above], age[above])
    latest = above & (age == last_above[pack])
    np.maximum.at(low, pack[latest], (age - slack)[latest])
    high = np.full(len(packs), np.inf)
    after = ~above & (age > last_above[pack])
    np.minimum.at(high, pack[after], (age + slack)[after])
    untested = packs.worn & (packs.removed <= until) & np.isinf(high)
    return low, np.maximum(np.where(untested, packs.removed - packs.fitted, high), low)


@dataclass(frozen=True, eq=False)
class _Origin:
    """What was forecast from one origin: rows of packs, their tests, laws by way, and the corrected laws."""

    at: float
    pack: IntArray
    tests: IntArray
    laws: dict[str, CrossingLaws]
    corrected: CrossingLaws

    @classmethod
    def of(cls, record: Record, at: float, effort: Effort, before: Recalibration) -> "_Origin | None":
        """Forecast from `at`; None where too little was known, or no pack was in service."""
        known = known_at(record, at)
        asked = _asked(known, record.packs, at, effort)
        if np.count_nonzero(is_value(known.tests)) < LEAST_TESTS or not len(asked):
            return None
        laws = {name: way(known, asked, effort) for name, way in WAYS.items()}
        counts = np.bincount(known.values[0], minlength=len(record.packs))[asked]
        corrected = CrossingLaws(laws[BEST].age, before.chance(laws[BEST].chance))
        return cls(at, asked, counts, laws, corrected)

    def forecasts(self, record: Record, until: float) -> Forecasts:
        """Return those of which anything was learned from the origin to `until`."""
        low, high = (each[self.pack] for each in known_crossings(record, until))
        learned = np.isfinite(high) | (low > self.at - record.packs.fitted[self.pack])
        next_age, next_below = _next_seen(record, self.at, until)
        every = Forecasts(
            pack=self.pack,
            group=record.packs.group[self.pack],
            origin=np.full(len(self.pack), self.at),
            tests=self.tests,
            laws=self.laws,
            corrected=self.corrected,
            low=low,
            high=high,
            next_age=next_age[self.pack],
            next_below=next_below[self.pack],
        )
        return every.of(learned)


def known_at(record: Record, at: float) -> Known:
    """Return what was known of the packs at `at`, years on the record's clock."""
    packs = record.packs
    gone = packs.removed <= at
    age = np.maximum(np.where(gone, packs.removed, at) - packs.fitted, 0.0)
    tests = record.tests.rows(record.tested_at <= at)
    return Known(tests, age, np.minimum(packs.entry_age, age), packs.worn & gone, record.level)


def _asked(known: Known, packs: BacktestPacks, at: float, effort: Effort) -> IntArray:
    serving = (packs.fitted + packs.entry_age <= at) & ~(packs.removed <= at)
    below = last_values(known.tests, len(packs)) < known.level
    asked = np.flatnonzero(serving & ~below)
    lot = np.random.default_rng(effort.seed).random(len(packs))
    return np.sort(asked[np.argsort(lot[asked])[: effort.most_asked]])


def _next_seen(record: Record, at: float, until: float) -> tuple[FloatArray, BoolArray]:
    """Return each pack's age (P,) at its next full test after `at`, or removal as worn, and whether it was below.

    nan for a pack without either, or whose test lies within TEST_ERROR of the level: it cannot tell.
    """
    tests, packs, when = record.tests, record.packs, record.tested_at
    rows = np.flatnonzero(is_value(tests) & (when > at) & (when <= until))
    rows = rows[np.lexsort((-when[rows], tests.pack[rows]))]
    age = np.full(len(packs), np.nan)
    age[tests.pack[rows]] = tests.age_years[rows]
    gap = np.full(len(packs), np.inf)
    gap[tests.pack[rows]] = tests.fraction[rows] - record.level
    worn = packs.worn & (packs.removed > at) & (packs.removed <= until)
    first = worn & ~(age <= packs.removed - packs.fitted)
    age[np.abs(gap) < TEST_ERROR] = np.nan
    return np.where(first, packs.removed - packs.fitted, age), (gap < 0) | first


def _recalibration(made: list[_Origin], record: Record, until: float) -> Recalibration:
    """Return the correction by the forecasts `made`, as far as their truth was known at `until`."""
    found = _side_by_side([origin.forecasts(record, until) for origin in made])
    crossed = len(np.unique(found.pack[np.isfinite(found.high)]))
    if crossed < LEAST_RANKS:
        return Recalibration()
    return replace(recalibration(*ranks(found.laws[BEST], found.low, found.high)), ranks=crossed)


def _side_by_side(parts: list[Forecasts]) -> Forecasts:
    """Return the forecasts of several origins of one type: a pack keeps its row."""
    columns = {
        name: np.concatenate([np.zeros(0, dtype), *(getattr(part, name) for part in parts)])
        for name, dtype in _COLUMNS.items()
    }
    laws = {name: CrossingLaws.joined([part.laws[name] for part in parts]) for name in WAYS}
    return Forecasts(laws=laws, corrected=CrossingLaws.joined([part.corrected for part in parts]), **columns)
