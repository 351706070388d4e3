"""How many packs a type will need, month by month, with the next pack's own crossing.

A slot (a driver's place for a pack) needs a pack in the month in which the one in it crosses. The new one is fitted at
the end of that month and crosses k months later with chance g_k = G_k - G_(k-1), G the law of a new pack. With f_m the
chance that the pack now fitted crosses in month m, the n-th need falls in month m with chance

    f^(1) = f,   f^(n)_m = sum_j f^(n-1)_j g_(m-j)                    (renewal convolution: any textbook).

A slot has n needs or more by month m with chance sum_(j<=m) f^(n)_j, and one in month m with chance sum_n f^(n)_m; two
cannot fall in one month. What is below the level today is needed in month 1.

Slots are independent only within one draw of the type's numbers: a draw in which packs fade faster needs more of all
of them. So the law of the count is found within each draw (`counts`) and mixed over draws afterwards. Counted as if
independent, the band comes out far too narrow (a standard deviation of 2.5 instead of 6.1 in an example of 48 packs).

Of more than EXACT_UP_TO packs, those with nearly the same mean go as groups of equal width 1/64 in sqrt(p/2) (from a
half on, in sqrt((1-p)/2)), which adds at most a share 4/64^2 = 0.001 to the variance of the count, and so about 0.0002
to its law; measured: 0.00005.

These are needs of packs that reach the level. Replacing at a visit before that, as the risk limit asks, comes earlier.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.core.battery.arrays import FloatArray, IntArray, first_bad
from fleet.core.battery.counts import CountLaw, Slots, count_law
from fleet.core.errors import BadValueError

# Packs counted one by one; of more, groups of packs with nearly the same chances are.
EXACT_UP_TO = 500
# Groups to each whole count; fewer where a slot can need many packs, so that the tables stay small.
_GROUPS, _MOST_GROUPS = 64, 512
# Packs that are looked at together.
_AT_ONCE = 500
# A need is followed as long as it is likelier than this for any pack.
_LEAST_CHANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Demand:
    """Laws of the number of packs needed in each of M months (`monthly`) and from now to its end (`total`)."""

    monthly: tuple[CountLaw, ...]
    total: tuple[CountLaw, ...]

    @property
    def expected(self) -> FloatArray:
        """Return the expected number (M,) in each month."""
        return np.array([law.mean for law in self.monthly])

    @property
    def sd(self) -> FloatArray:
        """Return the standard deviation (M,) of the number in each month."""
        return np.array([law.sd for law in self.monthly])

    @property
    def total_expected(self) -> FloatArray:
        """Return the expected number (M,) from now to the end of each month."""
        return np.array([law.mean for law in self.total])

    def quantiles(self, chances: ArrayLike) -> IntArray:
        """Return the numbers (Q, M) that suffice for each month alone with each of the chances (Q,)."""
        return _quantiles(self.monthly, chances)

    def total_quantiles(self, chances: ArrayLike) -> IntArray:
        """Return the numbers (Q, M) that suffice from now to the end of each month with each of the chances (Q,)."""
        return _quantiles(self.total, chances)

    def plus(self, other: "Demand") -> "Demand":
        """Return the demand of two types together, whose numbers are independent. Raises BadValueError."""
        if len(self.monthly) != len(other.monthly):
            message = (
                f"One demand has {len(self.monthly)} months and the other {len(other.monthly)}; both need the same."
            )
            raise BadValueError(message, field="months")
        both = ((self.monthly, other.monthly), (self.total, other.total))
        return Demand(*(tuple(a.plus(b) for a, b in zip(one, two, strict=True)) for one, two in both))


def _quantiles(laws: tuple[CountLaw, ...], chances: ArrayLike) -> IntArray:
    return np.stack([law.quantiles(np.asarray(chances, dtype=np.float64)) for law in laws], axis=1)


def demand(own: FloatArray | Iterable[FloatArray], new: FloatArray, *, exact_up_to: int = EXACT_UP_TO) -> Demand:
    """Return the demand of a type's packs over M months.

    `own` (M + 1, R, P), or any number of such pieces over packs: the chance in each draw that each pack has crossed by
    now (row 0) and by the end of each month; where it falls it is levelled. `new` (R, M + 1): the same of a new pack,
    in months since it was fitted. Pieces of some 2,000 packs keep the memory small. Raises BadValueError for other
    shapes and for chances outside 0 to 1.
    """
    successor = _Successor.of(new)
    tally = _Tally(successor, exact_up_to)
    for piece in [own] if isinstance(own, np.ndarray) else own:
        _check(piece, (new.shape[1], new.shape[0]))
        for start in range(0, piece.shape[2], _AT_ONCE):
            tally.add(piece[:, :, start : start + _AT_ONCE])
    monthly, total = (tuple(count_law(slots) for slots in each.by_month()) for each in (tally.monthly, tally.total))
    return Demand(monthly, total)


def _check(piece: FloatArray, rows: tuple[int, int]) -> None:
    if piece.ndim != len(rows) + 1 or piece.shape[:2] != rows:
        message = f"own has the shape {piece.shape}; it must be {rows} by packs, as new is."
        raise BadValueError(message, field="own")
    _check_chances(piece, "own")


def _check_chances(chances: FloatArray, name: str) -> None:
    within = (chances >= -_LEAST_CHANCE) & (chances <= 1 + _LEAST_CHANCE)
    first_bad(~within.ravel(), chances, name, "a chance lies from 0 to 1")


@dataclass(frozen=True, eq=False)
class _Successor:
    """What comes after the first need: `step` (R, M, M) takes f^(n) to f^(n + 1); `most` needs are followed."""

    step: FloatArray
    most: int

    @classmethod
    def of(cls, new: FloatArray) -> "_Successor":
        """Return it for a new pack's chances (R, M + 1) by month since it was fitted."""
        if new.ndim != 2 or new.shape[1] < 2:  # noqa: PLR2004 - draws by months, a month at least
            message = f"new has the shape {new.shape}; it must be draws by now and one month at least."
            raise BadValueError(message, field="new")
        _check_chances(new, "new")
        months = new.shape[1] - 1
        law = np.diff(np.maximum.accumulate(new, axis=1), axis=1)
        law[:, 0] += new[:, 0]
        after = np.arange(months)[:, None] - np.arange(months)
        step = np.where(after > 0, law[:, np.maximum(after - 1, 0)], 0.0)
        return cls(step, _most_needs(step, law))

    def needs(self, first: FloatArray) -> FloatArray:
        """Return the chances (most, R, M, P) that the n-th need falls in each month, from those of the first."""
        found = [first]
        for _ in range(1, self.most):
            found.append(self.step @ found[-1])
        return np.stack(found)


def _most_needs(step: FloatArray, law: FloatArray) -> int:
    """Return how many needs a slot can have within the horizon: the chance of more is under _LEAST_CHANCE."""
    needs, chance = 1, law
    while chance.sum(axis=1).max() > _LEAST_CHANCE and needs < step.shape[1]:
        needs, chance = needs + 1, np.einsum("rij,rj->ri", step, chance)
    return needs


class _Tally:
    """The slots seen so far, for the number in each month and for the number since now."""

    def __init__(self, successor: _Successor, exact_up_to: int) -> None:
        draws, months = successor.step.shape[:2]
        self._successor = successor
        self.monthly = _Slots(draws, months, 1, exact_up_to)
        self.total = _Slots(draws, months, successor.most, exact_up_to)

    def add(self, own: FloatArray) -> None:
        """Count in the slots of `own` (M + 1, R, P)."""
        by_draw = np.maximum.accumulate(np.clip(own, 0.0, 1.0).transpose(1, 0, 2), axis=1)
        first = np.diff(by_draw, axis=1)
        first[:, 0] += by_draw[:, 0]
        needs = self._successor.needs(first)
        self.monthly.add(np.minimum(needs.sum(axis=0, keepdims=True), 1.0))
        self.total.add(np.minimum(np.cumsum(needs, axis=2), 1.0))


class _Slots:
    """Slots by draw and month: one by one up to `exact_up_to`, in groups of nearly the same mean from then on."""

    def __init__(self, draws: int, months: int, most: int, exact_up_to: int) -> None:
        self._shape = (draws, months)
        self._most = most
        self._exact_up_to = exact_up_to
        self._groups = most * max(min(_GROUPS, _MOST_GROUPS // most), 8)
        self._one_by_one: list[FloatArray] = [np.zeros((most, draws, months, 0))]
        self._number: FloatArray = np.zeros(0)
        self._reached: FloatArray = np.zeros((most, 0))

    def add(self, reached: FloatArray) -> None:
        """Count in the slots of `reached` (most, R, M, P): chance of 1, 2, ... needs at least."""
        waiting = [*self._one_by_one, reached]
        if not self._number.size and sum(each.shape[-1] for each in waiting) <= self._exact_up_to:
            self._one_by_one = waiting
            return
        self._one_by_one = []
        for each in waiting:
            self._put_in_groups(each)

    def by_month(self) -> Iterable[Slots]:
        """Return the slots of each month in turn."""
        if not self._number.size:
            together = np.concatenate(self._one_by_one, axis=-1)
            return (Slots(together[:, :, month].swapaxes(0, 1)) for month in range(self._shape[1]))
        number = self._number.reshape(*self._shape, self._groups)
        average = (self._reached / np.maximum(self._number, 1.0)).reshape(self._most, *number.shape)
        return (self._filled(number[:, month], average[:, :, month]) for month in range(self._shape[1]))

    @staticmethod
    def _filled(number: FloatArray, average: FloatArray) -> Slots:
        filled = number.any(axis=0)
        return Slots(average[:, :, filled].swapaxes(0, 1), number[:, filled])

    def _put_in_groups(self, reached: FloatArray) -> None:
        cells = int(np.prod(self._shape)) * self._groups
        row = np.arange(np.prod(self._shape)).reshape(*self._shape, 1) * self._groups
        cell = (row + self._group_of(reached.sum(axis=0))).ravel()
        if not self._number.size:
            self._number, self._reached = np.zeros(cells), np.zeros((self._most, cells))
        self._number += np.bincount(cell, minlength=cells)
        for need, each in enumerate(reached):
            self._reached[need] += np.bincount(cell, each.ravel(), minlength=cells)

    def _group_of(self, mean: FloatArray) -> IntArray:
        """Return the group of slots by their mean count: equal steps in sqrt(p) and, past a half, in sqrt(1 - p)."""
        whole = np.minimum(np.floor(mean), self._most - 1.0)
        part = np.clip(mean - whole, 0.0, 1.0)
        root = np.sqrt(np.minimum(part, 1 - part) / 2)
        place = whole + np.where(part < 0.5, root, 1 - root)  # noqa: PLR2004 - a half
        return np.minimum((place * (self._groups // self._most)).astype(np.int64), self._groups - 1)
