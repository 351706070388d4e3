"""The weeks as they fill up: what still fits where, and the plain rules that place one visit at a time."""

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from fleet.core.levelling.jobs import Bench, Visit


class Board:
    """Which visit is in which week, the minutes of each week, and the drivers of each ward that are away then."""

    def __init__(self, visits: Sequence[Visit], bench: Bench) -> None:
        """Begin with every week empty."""
        self.visits = visits
        self.bench = bench
        self.week: list[int | None] = [None] * len(visits)
        self.load = np.zeros(bench.weeks, dtype=np.int64)
        self.minutes = np.array(bench.minutes, dtype=np.int64)
        self._away = {visit.ward: np.zeros(bench.weeks, dtype=np.int64) for visit in visits}
        self._spares = {ward: bench.spares(ward) for ward in self._away}

    def put(self, at: int, week: int) -> None:
        """Place a visit, which has no week yet, in a week that is open to it."""
        self.week[at] = week
        self._count(at, week, 1)

    def take(self, at: int) -> int | None:
        """Take a visit out of its week, and give that week; None, and nothing happens, when it had none."""
        week = self.week[at]
        if week is not None:
            self.week[at] = None
            self._count(at, week, -1)
        return week

    def _count(self, at: int, week: int, one: int) -> None:
        self.load[week] += one * self.visits[at].minutes
        self._away[self.visits[at].ward][week] += one

    def windows(self, at: int) -> npt.NDArray[np.int64]:
        """The weeks of a visit's window in which the bench works, in order."""
        visit = self.visits[at]
        weeks = np.arange(visit.first, visit.last + 1)
        return weeks[self.minutes[weeks] > 0]

    def open_to(self, at: int) -> npt.NDArray[np.int64]:
        """The weeks of its window in which the bench works and the ward can spare one more driver, in order."""
        weeks = self.windows(at)
        ward = self.visits[at].ward
        return weeks[self._away[ward][weeks] < self._spares[ward]]

    def room(self, ward: int) -> npt.NDArray[np.int64]:
        """How many more drivers of the ward may go in each week, shape (weeks,)."""
        return self._spares[ward] - self._away[ward]

    def fullest(self) -> float:
        """The load of the fullest week as a share of that week's minutes; 0 with nothing placed."""
        works = self.minutes > 0
        return float((self.load[works] / self.minutes[works]).max())

    def unplaced(self) -> list[int]:
        """The visits without a week."""
        return [at for at, week in enumerate(self.week) if week is None]

    def put_where_least_is(self, at: int) -> bool:
        """Place a visit in the emptiest week open to it, of equal ones the nearest its due week; False if none is."""
        weeks = self.open_to(at)
        if not weeks.size:
            return False
        share = (self.load[weeks] + self.visits[at].minutes) / self.minutes[weeks]
        off = np.abs(weeks - self.visits[at].due)
        self.put(at, int(weeks[np.lexsort((weeks, off, np.round(share, 9)))[0]]))
        return True

    def put_early(self, at: int) -> bool:
        """Place a late visit in the first week open to it that has the minutes, else where least is."""
        weeks = self.open_to(at)
        fits = weeks[self.load[weeks] + self.visits[at].minutes <= self.minutes[weeks]]
        if fits.size:
            self.put(at, int(fits[0]))
            return True
        return self.put_where_least_is(at)


def in_turn(visits: Sequence[Visit], *, late: bool) -> list[int]:
    """The visits that are late, or that are not, by the week they are due and then the end of their window."""
    chosen = (at for at, visit in enumerate(visits) if visit.late is late)
    return sorted(chosen, key=lambda at: (visits[at].due, visits[at].last, visits[at].device))


def late_first(board: Board) -> None:
    """Place the late visits, each as early as the bench's minutes and its ward allow."""
    for at in in_turn(board.visits, late=True):
        board.put_early(at)


def greedy(visits: Sequence[Visit], bench: Bench) -> Board:
    """The plain rule for comparison: late ones early, then by due week each into the emptiest week of its window."""
    board = Board(visits, bench)
    late_first(board)
    for at in in_turn(visits, late=False):
        board.put_where_least_is(at)
    return board


def make_room(board: Board, waiting: Iterable[int]) -> None:
    """Place visits that find their weeks full by moving others of the ward within their windows (augmenting paths).

    What is still without a week then can have none, whatever the others do: no plan places more visits.
    """
    for at in waiting:
        if board.week[at] is None:
            peers = [each for each, visit in enumerate(board.visits) if visit.ward == board.visits[at].ward]
            _augment(board, at, [each for each in peers if not board.visits[each].late])


def _augment(board: Board, start: int, peers: Sequence[int]) -> bool:
    came_from: dict[int, int] = {}
    asked = [start]
    for at in asked:
        open_weeks = board.open_to(at)
        if open_weeks.size:
            _shift(board, at, int(open_weeks[0]), came_from)
            return True
        weeks = set(board.windows(at).tolist())
        for other in peers:
            if other != start and other not in came_from and board.week[other] in weeks:
                came_from[other] = at
                asked.append(other)
    return False


def _shift(board: Board, at: int, week: int, came_from: dict[int, int]) -> None:
    """Move along the path: each visit takes the week that the one after it leaves."""
    while True:
        left = board.take(at)
        board.put(at, week)
        if left is None:
            return
        at, week = came_from[at], left
