"""Which tests are likely wrong, and which came as a surprise, by the most likely numbers of the type."""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.filtering import filtered
from fleet.core.battery.bend.histories import FadeTests, Histories, by_test
from fleet.core.battery.bend.parameters import FadeNumbers

# More branches than for a forecast, so that no combination of good and wrong tests with weight is dropped.
_BRANCHES = 8
_AT_ONCE = 5000


@dataclass(frozen=True, eq=False)
class Doubts:
    """What may be held against each of N tests, given all tests of its pack; nan for bounds.

    `gross` (N,): the chance that it is a gross error. `surprise` (N,): how far it lay above what the pack's earlier
    tests let expect, in standard deviations of the expected result.
    """

    gross: FloatArray
    surprise: FloatArray


def doubts(tests: FadeTests, histories: Histories, numbers: FadeNumbers) -> Doubts:
    """Return the doubts about `tests`.

    `histories`: all `tests` laid out. `numbers`: of the type; of several sets the first is taken.
    """
    gross, surprise = np.zeros((2, *histories.age.shape))
    for first in range(0, len(histories), _AT_ONCE):
        columns = np.arange(first, min(first + _AT_ONCE, len(histories)))
        found = filtered(histories.chosen(columns), numbers.of(slice(0, 1)), branches=_BRANCHES, traced=True)
        gross[: len(found.gross), columns] = found.gross
        surprise[: len(found.surprise), columns] = found.surprise
    return Doubts(by_test(tests, histories, gross), by_test(tests, histories, surprise))
