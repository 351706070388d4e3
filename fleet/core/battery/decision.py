"""What to do about a pack at its visits: replace it, call it in, test it, or leave it be.

A pack is replaced at a visit if its chance of falling to the replacement level before the visit after that exceeds the
risk limit. The limit is the hospital's own, or follows from prices. Leaving a pack in for one more interval puts off
what its place costs for so long, s = interval * cost a year, and risks the price c of a failure in use with chance p.
The two are equal at

    p* = s / (s + c)                                                    (break-even; own derivation)

The cost a year counts packs and failures under the best fixed age of replacement at visits,

    min over n of (price + c G(n interval)) / E min(T, n interval),     T ~ G, the life of a new pack

(age replacement: R. E. Barlow, L. C. Hunter, "Optimum preventive maintenance policies", Operations Research 8 (1960),
from memory). No age past LONGEST_YEARS, or past the middle life where that is longer, is looked at: a wide law's few
endless lives would make a place cost next to nothing. In simulated fleets the limit costs within 3 percent of the best
fixed one. With the pack's price over its life in place of that cost, packs went too early and cost up to half as much
again.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from fleet.core.battery.arrays import BoolArray, FloatArray, column, first_bad, mask, same_length
from fleet.core.battery.crossing import CrossingLaw
from fleet.core.errors import BadValueError
from fleet.core.words import Worded

# How much lives of new packs differ where nobody says, standard deviation of their logarithm (assumed).
LIFE_SPREAD = 0.3
_ONE_IN_TEN = 1.2816
# Standard deviations of the logarithm up to which an age of replacement is looked at, and years (own choice: as far as
# a pack's own crossing is forecast).
_OLDEST = 4.0
LONGEST_YEARS = 15.0


class Advice(Worded):
    """The advice, in the order of urgency. Never an instruction: maker and local policy decide."""

    REPLACE_NOW = "replace", "Replace now"
    CALL_IN = "call_in", "Call in before its visit"
    REPLACE_AT_VISIT = "at_visit", "Replace at the next visit"
    TEST_NOW = "test", "Test at the next visit"
    SKIP_TEST = "skip", "Next test may be skipped"
    WAIT = "wait", "Leave it in"


@dataclass(frozen=True)
class DecisionRules:
    """From which chance on that a test changes the advice it is asked for or may be left out: own choices."""

    test_above: float = 0.20
    skip_below: float = 0.05


@dataclass(frozen=True, eq=False)
class PackChances:
    """What the advice for P packs rests on, columns (P,). Raises BadValueError for another shape.

    `before_visit`, `before_following`: chance of having crossed by the next visit and by the one after it, nan if
    unknown. `is_below`: expected or measured below already. `assumed`: nothing of it or its like was measured.
    `untested_years`: without a full test by the next visit, since fitted if there was none; `untested_if_skipped`: by
    the visit after it, should the next one bring no test. `changes`: chance that a test at the next visit changes
    the advice (`worth.TestWorth`), nan if unknown.
    """

    before_visit: FloatArray
    before_following: FloatArray
    is_below: BoolArray
    assumed: BoolArray
    untested_years: FloatArray
    untested_if_skipped: FloatArray
    changes: FloatArray

    def __post_init__(self) -> None:
        """Check the columns and keep them as arrays of one kind each."""
        _keep_columns(self, marks=("is_below", "assumed"))

    def __len__(self) -> int:
        """Return P."""
        return len(self.before_visit)


@dataclass(frozen=True, eq=False)
class Limits:
    """What holds for each of P packs, columns (P,): risk limit (chance), whether a test may be skipped, years untested.

    Raises BadValueError for another shape or a limit outside 0 to 1.
    """

    limit: FloatArray
    may_skip: BoolArray
    longest_untested_years: FloatArray

    def __post_init__(self) -> None:
        """Check the columns and keep them as arrays of one kind each."""
        _keep_columns(self, marks=("may_skip",))
        first_bad(~((self.limit > 0) & (self.limit <= 1)), self.limit, "limit", "a risk limit is a chance above 0")


def _keep_columns(table: PackChances | Limits, *, marks: tuple[str, ...]) -> None:
    for name, values in vars(table).items():
        object.__setattr__(table, name, mask(values, name) if name in marks else column(values, name))
    same_length(**vars(table))


def decide(chances: PackChances, limits: Limits, rules: DecisionRules | None = None) -> NDArray[np.object_]:
    """Return the `Advice` (P,) for each pack: the first of these that holds, else WAIT.

    REPLACE_NOW below already; CALL_IN chance before the next visit over the limit; REPLACE_AT_VISIT chance before the
    following visit over it; TEST_NOW the chance is unknown or rests on what is assumed, the pack went too long
    untested, or a test is likely to change the advice; SKIP_TEST it may be, a test hardly changes the advice, and the
    pack will not have gone too long by the following visit. Raises BadValueError for tables of unequal length.
    """
    rules = rules or DecisionRules()
    same_length(chances=chances.before_visit, limits=limits.limit)
    unknown = np.isnan(chances.before_visit) | np.isnan(chances.before_following)
    too_long = chances.untested_years > limits.longest_untested_years
    hardly = chances.changes < rules.skip_below
    kept = chances.untested_if_skipped <= limits.longest_untested_years
    holds = {
        Advice.REPLACE_NOW: chances.is_below,
        Advice.CALL_IN: chances.before_visit > limits.limit,
        Advice.REPLACE_AT_VISIT: chances.before_following > limits.limit,
        Advice.TEST_NOW: unknown | chances.assumed | too_long | (chances.changes > rules.test_above),
        Advice.SKIP_TEST: limits.may_skip & hardly & kept,
    }
    advice = np.full(len(chances), Advice.WAIT, dtype=np.object_)
    for each in reversed(holds):
        advice[holds[each]] = each
    return advice


@dataclass(frozen=True)
class PackPlace:
    """A place for a pack: what a pack and a failure in use cost (in one currency), its visits, how long new packs last.

    `new_life_years`: half of the new packs last less; `new_life_low_years`: 1 in 10 lasts less (None: as where lives
    differ by LIFE_SPREAD). Raises BadValueError for a number that is not above 0, or a low life not under the middle.
    """

    pack_price: float
    failure_price: float
    interval_years: float
    new_life_years: float
    new_life_low_years: float | None = None

    def __post_init__(self) -> None:
        """Refuse what settles nothing."""
        low, middle = self._low_years, self.new_life_years
        for name, value in (vars(self) | {"new_life_low_years": low}).items():
            if name != "new_life_years" and not (np.isfinite(value) and value > 0):
                message = f"{name} is {value}; it must be above 0."
                raise BadValueError(message, field=name)
        if not low < middle < np.inf:
            message = f"new_life_years is {middle}; it must be above the life that 1 pack in 10 does not reach, {low}."
            raise BadValueError(message, field="new_life_years")

    @property
    def _low_years(self) -> float:
        stated = self.new_life_low_years
        return float(self.new_life_years * np.exp(-LIFE_SPREAD * _ONE_IN_TEN)) if stated is None else stated

    def break_even_limit(self) -> float:
        """Return the limit p* of the module's text, 0 to 1."""
        put_off = self.cost_a_year() * self.interval_years
        return put_off / (put_off + self.failure_price)

    def cost_a_year(self) -> float:
        """Return what the place costs a year, packs and failures, under the best fixed age of replacement at visits.

        Lives are taken as lognormal.
        """
        life, interval = self.new_life_years, self.interval_years
        spread = np.log(life / self._low_years) / _ONE_IN_TEN
        oldest = min(life * np.exp(_OLDEST * spread), max(LONGEST_YEARS, life))
        age = interval * np.arange(1, int(oldest / interval) + 2)
        rank = np.log(age / life) / spread
        served = life * np.exp(spread**2 / 2) * special.ndtr(rank - spread) + age * special.ndtr(-rank)
        return float(np.min((self.pack_price + self.failure_price * special.ndtr(rank)) / served))


@dataclass(frozen=True, eq=False)
class VisitAges:
    """Ages of P packs in years, columns (P,): `today` and at the `next_visit`; nan where none is planned.

    A visit that is late counts as today; none planned, as one interval from today. `horizon_years` from today on is
    what is asked about. Raises BadValueError for another shape.
    """

    today: FloatArray
    next_visit: FloatArray
    horizon_years: float = 1.0

    def __post_init__(self) -> None:
        """Check the columns."""
        object.__setattr__(self, "today", column(self.today, "today"))
        object.__setattr__(self, "next_visit", column(self.next_visit, "next_visit"))
        same_length(today=self.today, next_visit=self.next_visit)

    def visits(self, interval_years: float) -> FloatArray:
        """Return the ages (K, P) at the visits up to the horizon and at the first one after it."""
        first = np.where(np.isnan(self.next_visit), self.today + interval_years, self.next_visit)
        steps = np.arange(int(self.horizon_years / interval_years) + 2)
        return np.asarray(np.maximum(first, self.today) + interval_years * steps[:, None])


@dataclass(frozen=True, eq=False)
class WhatIf:
    """For L risk limits and I visit intervals (L, I): `packs` needed, and `under` the level before being replaced."""

    packs: FloatArray
    under: FloatArray

    def plus(self, other: "WhatIf") -> "WhatIf":
        """Return both groups of packs together."""
        return WhatIf(self.packs + other.packs, self.under + other.under)


NewLaw = Callable[[FloatArray], FloatArray]
# Ages that differ by this many years are the same visit.
_SAME_VISIT = 1e-6


def what_if(
    law: CrossingLaw, new_law: NewLaw, ages: VisitAges, limits: ArrayLike, intervals_years: ArrayLike
) -> WhatIf:
    """Return expected packs needed and packs under the level within the horizon, by limit (L,) and interval (I,).

    `law`: chance (P,) that each pack has crossed by the ages (P,). `new_law`: the same (n,) of new packs at ages (n,),
    up to the horizon and two intervals. After the next visit a pack is visited every interval. It is replaced at its
    first visit, today counting as one, at which the chance of having crossed by the following visit is over the limit,
    with nothing learned in between; its successor likewise, today not counting. A pack that crosses sooner counts as
    under and as one pack; that its successor starts sooner is left out. Packs that are below today count as under. Sums
    over packs: groups of packs may be done one by one and added. Raises BadValueError for an interval not above 0.
    """
    limit, intervals = column(limits, "limits"), column(intervals_years, "intervals_years")
    first_bad(~(intervals > 0), intervals, "intervals_years", "an interval is above 0 years")
    horizon = ages.horizon_years
    today, end = law(ages.today), law(ages.today + horizon)
    found = np.empty((2, len(limit), len(intervals)))
    for at, interval in enumerate(intervals):
        visits = ages.visits(interval)
        chance = np.maximum.accumulate([today, *(law(age) for age in visits)], axis=0)
        stay = _Stay(visits - ages.today, chance, np.maximum(end, today), horizon)
        for row, each in enumerate(limit):
            found[:, row, at] = _sums(stay, _Successor.of(new_law, each, interval, horizon), each)
    return WhatIf(*found)


@dataclass(frozen=True, eq=False)
class _Stay:
    """P packs as they are, up to `horizon` years from today.

    `after` (K, P): years from today to each visit. `chance` (K + 1, P): of having crossed by today and by each visit;
    `at_end` (P,): by the horizon.
    """

    after: FloatArray
    chance: FloatArray
    at_end: FloatArray
    horizon: float

    def replaced(self, limit: float) -> tuple[FloatArray, FloatArray]:
        """Return the years to each replacement (P,), inf if past the horizon, and the chance of crossing sooner."""
        visit = np.count_nonzero(self.chance[1:] <= limit, axis=0)
        packs = np.arange(len(visit))
        when = np.concatenate([np.zeros((1, len(packs))), self.after])[visit, packs]
        late = when > self.horizon + _SAME_VISIT
        return np.where(late, np.inf, when), np.where(late, self.at_end, self.chance[visit, packs])


@dataclass(frozen=True)
class _Successor:
    """A new pack: its law, and the years it stays in by the limit, inf if past the horizon."""

    law: NewLaw
    stays: float

    @classmethod
    def of(cls, law: NewLaw, limit: float, interval: float, horizon: float) -> "_Successor":
        """Return it: it goes at its first visit that calls for the next pack."""
        visits = interval * np.arange(1.0, int(horizon / interval + _SAME_VISIT) + 1)
        called = law(visits + interval) > limit
        return cls(law, float(visits[np.argmax(called)]) if called.any() else np.inf)

    def sums(self, left: FloatArray) -> tuple[float, float]:
        """Return packs needed after new ones with years `left` (n,) to the horizon, and those under the level."""
        if not np.isfinite(self.stays):
            crossed = float(self.law(left).sum())
            return crossed, crossed
        again = np.floor(left / self.stays + _SAME_VISIT)
        rest = np.maximum(left - again * self.stays, 0.0)
        crossed = float(self.law(np.asarray(rest, dtype=np.float64)).sum())
        by_visit = float(self.law(np.array([self.stays]))[0])
        return float(again.sum()) + crossed, float(again.sum()) * by_visit + crossed


def _sums(stay: _Stay, successor: _Successor, limit: float) -> tuple[float, float]:
    """Return packs needed and packs under the level within the horizon."""
    when, crossed = stay.replaced(limit)
    in_time = np.isfinite(when)
    packs, under = successor.sums(np.asarray(stay.horizon - when[in_time]))
    return float(np.where(in_time, 1.0, crossed).sum()) + packs, float(crossed.sum()) + under
