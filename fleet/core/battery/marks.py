"""What the tests of a type mark: packs that are below, tests in doubt, and forecasts that say too little.

What each mark means stands in the text of `forecast`.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.bend.doubt import doubts
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out, removal_level
from fleet.core.battery.bend.outlook import outlook
from fleet.core.battery.foreseen import ForecastRules, Foreseen, KnownType, Packs
from fleet.core.battery.runtime import fractions_meet_level


@dataclass(frozen=True, eq=False)
class Marks:
    """What marks the packs (P,) and the tests (N,) of a type.

    `own_tests`: whether a full test of the pack itself was used. `already_below`: expected below the level, or measured
    so at the latest full test (`last_test_below`). `low_is_past`: the interval begins before the pack's last test (or
    today, if it has none): it may be below already. `set_aside`, `jump` (N,), and the `surprise` (N,) of each test in
    standard deviations; `has_set_aside`, `has_jump` (P,).
    """

    own_tests: BoolArray
    already_below: BoolArray
    last_test_below: BoolArray
    bound_contradicted: BoolArray
    has_set_aside: BoolArray
    has_jump: BoolArray
    uncertain: BoolArray
    low_is_past: BoolArray
    set_aside: BoolArray
    jump: BoolArray
    surprise: FloatArray


def marks_of(tests: FadeTests, known: KnownType, seen: Foreseen, rules: ForecastRules, measured: FloatArray) -> Marks:
    """Return what the tests mark beside what is forecast; `measured` (N,): fractions for the verdict of the latest."""
    packs, level, numbers = known.packs, known.level, known.fit.numbers()
    latest = _latest(tests)
    last_below = _marked(tests.pack[latest[~fractions_meet_level(measured[latest], level)]], len(packs))
    below = last_below | ~fractions_meet_level(seen.fraction_today, level)
    doubt = doubts(tests, known.histories, numbers)
    set_aside = np.nan_to_num(doubt.gross) > rules.likely_wrong
    jump = np.nan_to_num(doubt.surprise) > rules.jump
    last_age = packs.age_today.copy()
    last_age[tests.pack[latest]] = tests.age_years[latest]
    return Marks(
        own_tests=_marked(tests.pack[latest], len(packs)),
        already_below=below,
        last_test_below=last_below,
        bound_contradicted=_bound_contradicted(tests, known, rules),
        has_set_aside=_marked(tests.pack[set_aside], len(packs)),
        has_jump=_marked(tests.pack[jump], len(packs)),
        uncertain=_uncertain(seen, packs, rules) & ~below,
        low_is_past=seen.crossing_low_age < last_age,
        set_aside=set_aside,
        jump=jump,
        surprise=doubt.surprise,
    )


def histories_of(tests: FadeTests, packs: Packs, level: float) -> Histories:
    """Return the tests laid out by pack; the level at which packs were taken out is learned from those that were."""
    last = _latest(tests)
    worn = last[packs.removed[tests.pack[last]]]
    middle, sd = removal_level(tests.fraction[worn], level)
    return lay_out(tests, len(packs), entry_age=packs.entry_age, entry_level=middle, entry_level_sd=sd, use=packs.use)


def _latest(tests: FadeTests) -> IntArray:
    """Return the row of each pack's latest full test; of two at the same age the later row."""
    rows = np.flatnonzero(tests.full)
    ordered = rows[np.lexsort((rows, tests.age_years[rows], tests.pack[rows]))]
    pack = tests.pack[ordered]
    return ordered[np.append(pack[1:] != pack[:-1], True)] if ordered.size else ordered


def _bound_contradicted(tests: FadeTests, known: KnownType, rules: ForecastRules) -> BoolArray:
    """Return the packs (P,) with a bound that ran longer than the most likely numbers and the values give a chance."""
    packs, level, numbers = known.packs, known.level, known.fit.numbers()
    bounds = np.flatnonzero(tests.bound)
    if not bounds.size:
        return _marked(bounds, len(packs))
    pack, age = tests.pack[bounds], tests.age_years[bounds]
    without = histories_of(tests.rows(~tests.bound), packs, level).of_packs(pack)
    middle, sd = outlook(without, numbers, level).fraction_at(age)
    spread = np.sqrt(sd**2 + numbers.noise[tests.kind[bounds], 0])
    reads_low = numbers.charge[0] * tests.shortfall[bounds]
    chance = special.ndtr((middle - reads_low - tests.fraction[bounds]) / spread)
    return _marked(pack[chance < rules.least_bound_chance], len(packs))


def _uncertain(seen: Foreseen, packs: Packs, rules: ForecastRules) -> BoolArray:
    low, high = seen.crossing_low_age, seen.crossing_high_age
    endless = np.isinf(high) & (low <= packs.age_today + rules.soon_years)
    return endless | (np.isfinite(high) & (high > rules.widest * low))


def _marked(rows: IntArray, length: int) -> BoolArray:
    marks = np.zeros(length, dtype=np.bool_)
    marks[rows] = True
    return marks
