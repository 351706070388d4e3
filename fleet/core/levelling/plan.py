"""The plan: late work first, the rest by linear programme, rounded to whole visits, and how good it is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from fleet.core.levelling.board import Board, greedy, in_turn, late_first, make_room
from fleet.core.levelling.jobs import Bench, Job, visits_of
from fleet.core.levelling.lower import lower
from fleet.core.levelling.solver import Solved, solve
from fleet.core.words import Worded

_ALIKE: Final = 1e-9
_SOLVER: Final = 1e-5
#: A count so near the next whole number is that number; a year of weeks of it is still less than one visit.
_NEARLY: Final = 1e-4


class Why(Worded):
    """Why a job could be given no week."""

    CLOSED = "closed", "Nobody works in any week of its window"
    WARD = "ward", "Its ward can spare no more drivers in any week of its window"


@dataclass(frozen=True, slots=True)
class Plan:
    """The week of each job (None: without one), and what became of the load.

    `before` and `after` are minutes a week, shape (weeks,): each job in its due week (late ones in week 0), and as
    planned. `fullest`, `greedy` and `bound` are the fullest week as a share of its minutes: of this plan, of the plain
    rule, and what no plan can do better than that joins the same jobs and takes the late ones first. `best`: the
    programme was solved in whole numbers; else it was rounded, and `gap` tells how far from the bound that led.
    """

    weeks: tuple[int | None, ...]
    before: npt.NDArray[np.int64]
    after: npt.NDArray[np.int64]
    minutes: npt.NDArray[np.int64]
    why: Mapping[int, Why]
    visits: int
    fullest: float
    greedy: float
    bound: float
    best: bool

    @property
    def gap(self) -> float:
        """How much fuller the fullest week is than the bound, as a share of the bound; 0 with nothing to do."""
        return self.fullest / self.bound - 1 if self.bound > 0 else 0.0

    @property
    def over(self) -> npt.NDArray[np.int64]:
        """Minutes of each week beyond what there are, shape (weeks,): planned all the same, since the work is due."""
        over: npt.NDArray[np.int64] = np.maximum(self.after - self.minutes, 0)
        return over


def level(jobs: Sequence[Job], bench: Bench) -> Plan:
    """Spread the jobs over the bench's weeks within their windows.

    In this order: as many visits placed as can be, the fullest week as low as can be, visits near their due week.
    Never worse than the plain rule. The same jobs give the same plan. Raises BadValueError as `visits_of` does.
    """
    visits = visits_of(jobs, bench.weeks)
    plain = greedy(visits, bench)
    board = Board(visits, bench)
    late_first(board)
    solved = solve(board, in_turn(visits, late=False))
    _round(board, solved)
    if _worth(plain) < _worth(board):
        board = plain
    before = _before(jobs, bench.weeks)
    return Plan(
        weeks=_weeks_of_jobs(board, len(jobs)),
        before=before,
        after=board.load,
        minutes=board.minutes,
        why={job: _why(board, at) for at in board.unplaced() for job in visits[at].jobs},
        visits=len(visits),
        fullest=board.fullest(),
        greedy=plain.fullest(),
        bound=_bound(solved, board),
        best=solved.whole,
    )


def _worth(board: Board) -> tuple[int, float]:
    return len(board.unplaced()), board.fullest() - _ALIKE


def _bound(solved: Solved, board: Board) -> float:
    """The bound, without the solver's own rounding where the plan reaches it."""
    return board.fullest() if board.fullest() < solved.bound + _SOLVER else solved.bound


def _round(board: Board, solved: Solved) -> None:
    """Place the whole visits of each class, then what is left over where least is, and lower the fullest weeks."""
    left: list[int] = []
    for members, weeks, counts in solved.classes:
        whole = np.floor(counts + _NEARLY).astype(int)
        of_class = iter(members)
        for week, number in zip(weeks.tolist(), whole.tolist(), strict=True):
            for _ in range(number):
                board.put(next(of_class), week)
        left += of_class
    stuck = [at for at in left if not board.put_where_least_is(at)]
    make_room(board, stuck)
    if not solved.whole:
        lower(board, solved.bound)


def _before(jobs: Sequence[Job], weeks: int) -> npt.NDArray[np.int64]:
    load = np.zeros(weeks, dtype=np.int64)
    for job in jobs:
        load[0 if job.late else job.due] += job.minutes
    return load


def _weeks_of_jobs(board: Board, number: int) -> tuple[int | None, ...]:
    weeks: list[int | None] = [None] * number
    for visit, week in zip(board.visits, board.week, strict=True):
        for job in visit.jobs:
            weeks[job] = week
    return tuple(weeks)


def _why(board: Board, at: int) -> Why:
    return Why.WARD if board.windows(at).size else Why.CLOSED
