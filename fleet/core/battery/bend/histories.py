"""The tests of many packs, laid out so that all packs take their k-th event together.

Packs are sorted by falling number of events; at event k only the first `active[k]` packs take part, so that no work is
spent on padding. Packs with a lower bound (a test stopped early) or in doubt go through other layouts than plain ones:
`chosen` cuts a layout down to some of its packs.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray, column, first_bad, indices, mask, same_length

# A pack's latest bounds that are kept. An older one says less, and each costs a dimension in the filter.
MOST_BOUNDS = 2
# The loss that ends a life, and how long that takes in a type without a test (assumed).
LIFE_LOSS = 0.20
_ROUGH_PACKS = 20_000
ASSUMED_LIFE_YEARS = 4.0
# Packs taken out as spent from which the level of that is learned; and how much it varies where they are fewer.
LEAST_REMOVED = 10
ASSUMED_REMOVAL_SD = 0.04
# Kinds of a test, each with a noise of its own: a plain one, one after a short charge, one at a rate outside the table.
PLAIN, SHORT_CHARGE, OUTSIDE_TABLE = range(3)
TEST_KINDS = 3


@dataclass(frozen=True, eq=False)
class FadeTests:
    """All N tests of the packs of a type, as columns (N,).

    `pack`: row of the pack. `age_years` at the test. `fraction` measured; for a `bound` (stopped early) the fraction it
    had run. `kind`: PLAIN, SHORT_CHARGE or OUTSIDE_TABLE. `shortfall`: the part of the charging hours that was missing,
    max(0, 1 - hours charged / hours needed). Raises BadValueError naming field, row and value.
    """

    pack: IntArray
    age_years: FloatArray
    fraction: FloatArray
    bound: BoolArray
    kind: IntArray
    shortfall: FloatArray

    def __post_init__(self) -> None:
        """Check the columns."""
        same_length(**{each.name: getattr(self, each.name) for each in fields(self)})
        first_bad(
            (self.kind < 0) | (self.kind >= TEST_KINDS), self.kind, "kind", f"it must lie from 0 to {TEST_KINDS - 1}"
        )
        first_bad(
            ~((self.shortfall >= 0) & (self.shortfall <= 1)), self.shortfall, "shortfall", "it must lie from 0 to 1"
        )
        for field in ("age_years", "fraction"):
            values = getattr(self, field)
            first_bad(~(np.isfinite(values) & (values >= 0)), values, field, "it must be a finite number, zero or more")

    @classmethod
    def of(  # noqa: PLR0913 - one argument a column
        cls,
        pack: ArrayLike,
        age_years: ArrayLike,
        fraction: ArrayLike,
        bound: ArrayLike | None = None,
        kind: ArrayLike | None = None,
        *,
        shortfall: ArrayLike | None = None,
    ) -> "FadeTests":
        """Return the columns, every test a plain value after a full charge unless said otherwise."""
        value = column(fraction, "fraction")
        return cls(
            indices(pack, "pack", below=np.iinfo(np.int64).max),
            column(age_years, "age_years"),
            value,
            np.zeros(len(value), dtype=np.bool_) if bound is None else mask(bound, "bound"),
            np.zeros(len(value), dtype=np.int64) if kind is None else indices(kind, "kind", below=TEST_KINDS),
            np.zeros(len(value)) if shortfall is None else column(shortfall, "shortfall"),
        )

    @property
    def full(self) -> BoolArray:
        """Return which tests (N,) are full and plain."""
        return np.asarray(~self.bound & (self.kind == PLAIN))

    def rows(self, chosen: BoolArray | IntArray) -> "FadeTests":
        """Return some of the tests."""
        return FadeTests(*(getattr(self, each.name)[chosen] for each in fields(self)))


@dataclass(frozen=True, eq=False)
class Histories:
    """P packs with up to K events each, in order of age.

    `row` (P,): the caller's row of each pack. `active` (K,): how many packs have a k-th event. `age`, `value`, `kind`,
    `shortfall` (K, P): of each event. `slot` (K, P): -1 for a value, else which of the pack's bounds it is. `entry_age`
    (P,): at which the pack came into the record, 0 if it was new. `entry_level`, `entry_level_sd`: the true fraction at
    which packs were taken out before, mean and standard deviation (see `removal_level`). `use` (P,): log of the pack's
    cycles a year over the type's median, 0 where not counted. `last_age` (P,): of the last event, or the entry.
    """

    row: IntArray
    active: IntArray
    age: FloatArray
    value: FloatArray
    kind: IntArray
    shortfall: FloatArray
    slot: IntArray
    entry_age: FloatArray
    entry_level: float
    entry_level_sd: float
    use: FloatArray
    last_age: FloatArray

    def __len__(self) -> int:
        """Return P."""
        return len(self.row)

    @property
    def bounds(self) -> int:
        """Return how many bounds a pack has at most."""
        return int(self.slot.max(initial=-1)) + 1

    def chosen(self, which: BoolArray | IntArray) -> "Histories":
        """Return the packs marked or listed in `which` (rising, to keep the order)."""
        keep = np.flatnonzero(which) if which.dtype == np.bool_ else which
        active = np.searchsorted(keep, self.active)
        events = int(np.count_nonzero(active))
        return Histories(
            row=self.row[keep],
            active=active[:events],
            age=self.age[:events, keep],
            value=self.value[:events, keep],
            kind=self.kind[:events, keep],
            shortfall=self.shortfall[:events, keep],
            slot=self.slot[:events, keep],
            entry_age=self.entry_age[keep],
            entry_level=self.entry_level,
            entry_level_sd=self.entry_level_sd,
            use=self.use[keep],
            last_age=self.last_age[keep],
        )

    def of_packs(self, rows: IntArray) -> "Histories":
        """Return the packs of the caller's `rows` (n,), which may stand more than once, as rows 0 to n - 1."""
        place = np.empty(len(self), dtype=np.int64)
        place[self.row] = np.arange(len(place))
        order = np.argsort(place[rows], kind="stable")
        return replace(self.chosen(place[rows][order]), row=order)

    def in_own_order(self) -> "Histories":
        """Return the same packs with rows 0 to P - 1."""
        return replace(self, row=np.arange(len(self)))


def lay_out(  # noqa: PLR0913 - the tests, and one argument for each thing known of the packs
    tests: FadeTests,
    packs: int,
    *,
    entry_age: FloatArray | None = None,
    entry_level: float = 0.0,
    entry_level_sd: float = 0.0,
    use: FloatArray | None = None,
) -> Histories:
    """Return the histories of `packs` packs, some of which may have no test.

    `entry_age`, `use` (packs,): see Histories; packs that came in later than new are known not to have fallen to the
    level at which packs are taken out, or they would never have been seen. Raises BadValueError for a test of an
    unknown pack.
    """
    first_bad(tests.pack >= packs, tests.pack, "pack", f"there are {packs} packs, counted from 0")
    entry = np.zeros(packs) if entry_age is None else entry_age
    rows = _by_pack_and_age(tests)
    pack = tests.pack[rows]
    count = np.bincount(pack, minlength=packs)
    order = np.argsort(-count, kind="stable")
    at = _places(pack, order)
    shape = (int(count.max(initial=0)), packs)
    last = entry.copy()
    np.maximum.at(last, tests.pack, tests.age_years)
    return Histories(
        row=order,
        active=np.count_nonzero(count[None] > np.arange(shape[0])[:, None], axis=1),
        age=_grid(shape, at, tests.age_years[rows]),
        value=_grid(shape, at, tests.fraction[rows]),
        kind=_grid(shape, at, tests.kind[rows]),
        shortfall=_grid(shape, at, tests.shortfall[rows]),
        slot=_slots(shape, at, tests.bound[rows]),
        entry_age=entry[order],
        entry_level=entry_level,
        entry_level_sd=entry_level_sd,
        use=np.zeros(packs) if use is None else use[order],
        last_age=last[order],
    )


def by_test(tests: FadeTests, histories: Histories, grid: FloatArray) -> FloatArray:
    """Return what `grid` (K, P) says of each event as a column of `tests` (N,), nan for bounds.

    `histories` must be the whole layout of the same tests.
    """
    rows = _by_pack_and_age(tests)
    found = np.full(len(tests.pack), np.nan)
    found[rows] = grid[_places(tests.pack[rows], histories.row)]
    return np.where(tests.bound, np.nan, found)


def _by_pack_and_age(tests: FadeTests) -> IntArray:
    kept = _latest_bounds(tests)
    return kept[np.lexsort((tests.age_years[kept], tests.pack[kept]))]


def _places(sorted_packs: IntArray, order: IntArray) -> tuple[IntArray, IntArray]:
    """Return event and column of each test in a layout whose columns are the packs in `order`."""
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    return _rank_in_run(sorted_packs), place[sorted_packs]


def _grid(shape: tuple[int, int], at: tuple[IntArray, IntArray], values: NDArray[Any]) -> NDArray[Any]:
    """Return the values at their places, zero elsewhere; all zero, it takes no memory."""
    if not values.any():
        return np.broadcast_to(np.zeros(1, dtype=values.dtype), shape)
    grid = np.zeros(shape, dtype=values.dtype)
    grid[at] = values
    return grid


def _latest_bounds(tests: FadeTests) -> IntArray:
    """Return the rows of all values and of each pack's latest MOST_BOUNDS bounds."""
    rows = np.flatnonzero(tests.bound)
    if not rows.size:
        return np.arange(len(tests.pack))
    later = rows[np.lexsort((-tests.age_years[rows], tests.pack[rows]))]
    drop = later[_rank_in_run(tests.pack[later]) >= MOST_BOUNDS]
    return np.setdiff1d(np.arange(len(tests.pack)), drop)


def _slots(shape: tuple[int, int], at: tuple[IntArray, IntArray], bound: BoolArray) -> IntArray:
    """Return which of its pack's bounds each event is, -1 for others."""
    if not bound.any():
        return np.broadcast_to(np.full(1, -1), shape)
    slot = np.full(shape, -1)
    slot[at[0][bound], at[1][bound]] = _rank_in_run(at[1][bound])
    return slot


def _rank_in_run(sorted_keys: IntArray) -> IntArray:
    """Return 0, 1, 2 ... within each run of equal keys."""
    positions = np.arange(len(sorted_keys))
    starts = np.append(True, sorted_keys[1:] != sorted_keys[:-1]) if sorted_keys.size else np.zeros(0, dtype=np.bool_)
    return np.asarray(positions - np.maximum.accumulate(np.where(starts, positions, 0)))


def removal_level(last_fraction: FloatArray, replacement_level: float) -> tuple[float, float]:
    """Return mean and standard deviation of the fraction at which packs are taken out, from those taken out as spent.

    `last_fraction` (N,): their last full tests, those above the level left out. Robust (median and 1.4826 x median
    absolute deviation). With fewer than LEAST_REMOVED, the replacement level and ASSUMED_REMOVAL_SD: assumed.
    """
    low = last_fraction[last_fraction < replacement_level]
    if len(low) < LEAST_REMOVED:
        return replacement_level, ASSUMED_REMOVAL_SD
    middle = float(np.median(low))
    return middle, 1.4826 * float(np.median(np.abs(low - middle)))


def rough_life(histories: Histories) -> float:
    """Return roughly how long (years) a pack takes to lose a fifth of its rating; robust, for the prior's unit of time.

    Of very many packs every n-th is looked at.

    A fifth over the median fade per year, (1 - fraction) / age, each test weighted by its age; kept between half the
    median age and ten times the highest age of a test.
    """
    histories = histories.chosen(np.arange(0, len(histories), 1 + len(histories) // _ROUGH_PACKS))
    value = (histories.slot < 0) & (np.arange(len(histories))[None] < histories.active[:, None]) & (histories.age > 0)
    age, lost = histories.age[value], 1 - histories.value[value]
    if not age.size:
        return ASSUMED_LIFE_YEARS
    order = np.argsort(lost / age)
    middle = order[np.searchsorted(np.cumsum(age[order]), age.sum() / 2)]
    least, most = 0.5 * float(np.median(age)), 10 * float(age.max())
    return float(np.clip(LIFE_LOSS * age[middle] / max(lost[middle], LIFE_LOSS * age[middle] / most), least, most))
