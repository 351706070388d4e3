"""The weeks of the visits as a linear programme for HiGHS, over classes of equal visits.

Visits of one ward with the same window, due week and minutes are one class c of n_c visits; x[c,w] of them go in week
w, u[c] in none. With the minutes C_w of a week, what stands in it already L_w, and the drivers r_vw that ward v can
still spare,

    first   minimise  B sum u + p     then, with sum u and p held,   minimise  sum |w - due_c| x[c,w]
    with    sum_w x[c,w] + u[c] = n_c,   L_w + sum_c m_c x[c,w] <= p C_w,   sum_{c of v} x[c,w] <= r_vw.

One visit more without a week lowers p by at most max m / min C, since only its own ward's weeks make room for it: B is
ten times that, so that no visit is left out for the sake of p. The least p of the programme in real numbers is a bound
for every plan. Few classes come out of it in fractions, about one for each row that binds; plan.py rounds them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from fleet.core.levelling.board import Board

#: Up to so many unknowns the programme is solved in whole numbers, which ends with the best plan there is.
WHOLE_UP_TO: Final = 400
#: Where branching stops. A count of nodes and no clock, so that the same work gives the same plan everywhere.
NODES: Final = 2000
#: HiGHS keeps its rows to about 1e-6; what the first programme found must stay possible in the second.
_SLACK: Final = 1e-5
_Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Solved:
    """For each class its visits, weeks and wanted counts; the bound of p; whether whole numbers were solved for."""

    classes: list[tuple[list[int], npt.NDArray[np.int64], _Floats]]
    bound: float
    whole: bool


class _Programme:
    """The rows and columns for what is not yet on the board."""

    def __init__(self, board: Board, waiting: Sequence[int]) -> None:
        self.board = board
        groups: dict[tuple[int, int, int, int, int], list[int]] = {}
        for at in waiting:
            visit = board.visits[at]
            groups.setdefault((visit.ward, visit.first, visit.last, visit.due, visit.minutes), []).append(at)
        self.members = list(groups.values())
        self.weeks = [board.windows(members[0]) for members in self.members]
        lengths = [len(weeks) for weeks in self.weeks]
        self.starts = np.concatenate([[0], np.cumsum(lengths)])
        self.of = np.repeat(np.arange(len(self.members)), lengths)
        self.week = np.concatenate([*self.weeks, np.zeros(0, dtype=np.int64)]).astype(np.int64)
        self.cells, self.count = len(self.of), len(self.members)
        self.sizes = np.array([len(members) for members in self.members], dtype=float)
        firsts = [board.visits[members[0]] for members in self.members]
        self.minutes = np.array([visit.minutes for visit in firsts], dtype=float)
        self.off = np.abs(self.week - np.array([visit.due for visit in firsts])[self.of]).astype(float)
        self.wards = np.array([visit.ward for visit in firsts])
        #: The column of p; x stand before it, then u.
        self.peak = self.cells + self.count

    def _rows(
        self, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64], values: _Floats, number: int
    ) -> coo_array:
        return coo_array((values, (rows, columns)), shape=(number, self.peak + 1))

    def each_once(self) -> LinearConstraint:
        """Every visit has one week or none."""
        rows, columns = np.concatenate([self.of, np.arange(self.count)]), np.arange(self.peak)
        return LinearConstraint(self._rows(rows, columns, np.ones(self.peak), self.count), self.sizes, self.sizes)

    def within_peak(self) -> LinearConstraint:
        """No week holds more than p of its minutes; a closed week holds nothing and has no row."""
        works = np.flatnonzero(self.board.minutes)
        row_of = np.full(len(self.board.minutes), -1)
        row_of[works] = np.arange(len(works))
        rows = np.concatenate([row_of[self.week], np.arange(len(works))])
        columns = np.concatenate([np.arange(self.cells), np.full(len(works), self.peak)])
        capacity = self.board.minutes[works].astype(float)
        shares = self.minutes[self.of] / capacity[row_of[self.week]]
        values = np.concatenate([shares, -np.ones(len(works))])
        upper = -self.board.load[works] / capacity
        return LinearConstraint(self._rows(rows, columns, values, len(works)), -np.inf, upper)

    def within_wards(self) -> LinearConstraint | None:
        """No ward spares more than it can; only the weeks in which more could be asked of it have a row."""
        wards, ward_of = np.unique(self.wards, return_inverse=True)
        key = ward_of[self.of] * self.board.bench.weeks + self.week
        room = np.concatenate([self.board.room(int(ward)) for ward in wards])
        asked = np.bincount(key, weights=self.sizes[self.of], minlength=len(room))
        tight = np.flatnonzero(asked > room)
        if not tight.size:
            return None
        row_of = np.full(len(room), -1)
        row_of[tight] = np.arange(len(tight))
        columns = np.flatnonzero(row_of[key] >= 0)
        matrix = self._rows(row_of[key[columns]], columns, np.ones(len(columns)), len(tight))
        return LinearConstraint(matrix, -np.inf, room[tight].astype(float))

    def solve(self, *, whole: bool) -> tuple[_Floats, float, bool]:
        """The visits of each class in each week, the bound of p, and whether whole numbers were solved to the end."""
        rows = [row for row in (self.each_once(), self.within_peak(), self.within_wards()) if row is not None]
        integral = np.concatenate([np.full(self.peak, int(whole)), [0]])
        left_out = np.concatenate([np.zeros(self.cells), np.ones(self.count), [0]])

        def least(cost: _Floats, most_out: float, most_full: float) -> Any:
            return milp(
                cost,
                integrality=integral,
                bounds=Bounds(0, np.concatenate([self.sizes[self.of], self.sizes, [most_full]])),
                constraints=[*rows, LinearConstraint(left_out, -np.inf, most_out)],
                options={"node_limit": NODES, "mip_rel_gap": 1e-9},
            )

        out_costs = self._cost_of_one_left_out()
        costs = np.concatenate([np.zeros(self.cells), np.full(self.count, out_costs), [1.0]])
        first = least(costs, np.inf, np.inf)
        if first.x is None:
            # Branching stopped before it found anything: real numbers always have an answer.
            return self.solve(whole=False)
        out, peak = first.x[self.cells : self.peak], float(first.x[self.peak])
        bound = first.mip_dual_bound - out_costs * round(out.sum()) if whole else peak
        near = np.concatenate([self.off, np.zeros(self.count + 1)])
        second = least(near, float(out.sum()) + _SLACK, peak + _SLACK)
        counts = (first if second.x is None else second).x[: self.cells]
        return counts, max(float(bound), 0.0), whole and first.status == 0

    def _cost_of_one_left_out(self) -> float:
        works = self.board.minutes[self.board.minutes > 0]
        return 10 * max(float(self.minutes.max() / works.min()), 1.0)


def solve(board: Board, waiting: Sequence[int]) -> Solved:
    """Ask HiGHS for the weeks of the visits that wait, beside what stands on the board already."""
    if not waiting:
        return Solved([], board.fullest(), whole=True)
    programme = _Programme(board, waiting)
    counts, bound, whole = programme.solve(whole=programme.cells <= WHOLE_UP_TO)
    cut = [counts[start:end] for start, end in zip(programme.starts[:-1], programme.starts[1:], strict=True)]
    classes = list(zip(programme.members, programme.weeks, cut, strict=True))
    return Solved(classes, max(bound, board.fullest()), whole=whole)
