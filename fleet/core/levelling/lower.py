"""Lowering the fullest week of a plan of whole visits by moving visits along a chain of weeks."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.core.levelling.board import Board

#: Good enough: so near the bound the hours differ by less than one visit in a bench of some size (own choice).
NEAR: Final = 0.01
_MOST: Final = 400
_ALIKE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class _Step:
    """A visit comes into `week`, bringing `minutes`, from where `before` stands."""

    week: int
    minutes: int
    visit: int
    before: "_Step | None"

    def weeks(self) -> set[int]:
        """The weeks along the chain."""
        return {self.week} | (self.before.weeks() if self.before else set())


def lower(board: Board, bound: float) -> None:
    """Shorten the fullest week, again and again, until it is near the bound or no chain of moves makes it less full.

    A chain moves one visit out of the fullest week, if need be another out of the week it comes to, and so on to a week
    that has the room; every week on it ends less full than the fullest was. Late visits stay.
    """
    for _ in range(_MOST):
        peak = board.fullest()
        if peak <= bound * (1 + NEAR):
            return
        end = _chain(board, peak - _ALIKE)
        if end is None:
            return
        _walk(board, end)


def _walk(board: Board, end: _Step) -> None:
    step: _Step | None = end
    while step and step.before:
        board.take(step.visit)
        board.put(step.visit, step.week)
        step = step.before


def _chain(board: Board, peak: float) -> _Step | None:
    """The shortest chain from the fullest week to one with room, breadth first; None if there is none."""
    here: dict[int, list[int]] = {}
    for at, week in enumerate(board.week):
        if week is not None and not board.visits[at].late:
            here.setdefault(week, []).append(at)
    share = np.divide(board.load, board.minutes, out=np.zeros(len(board.load)), where=board.minutes > 0)
    asked = [_Step(int(share.argmax()), 0, -1, None)]
    seen = {(asked[0].week, 0)}
    for step in asked:
        for at in here.get(step.week, []):
            if _share(board, step.week, step.minutes - board.visits[at].minutes) >= peak:
                continue
            for week in board.open_to(at).tolist():
                key = week, board.visits[at].minutes
                if key in seen or week in step.weeks():
                    continue
                seen.add(key)
                asked.append(_Step(week, key[1], at, step))
                if _share(board, week, key[1]) < peak:
                    return asked[-1]
    return None


def _share(board: Board, week: int, more: int) -> float:
    return float((board.load[week] + more) / board.minutes[week])
