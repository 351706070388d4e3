"""Which tests are likely wrong, and which came as a surprise, by the most likely numbers of the type."""

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.filtering import PackStates, filtered
from fleet.core.battery.bend.histories import FadeTests, Histories, by_test
from fleet.core.battery.bend.parameters import FadeNumbers

# More branches than for a forecast, so that no combination of good and wrong tests with weight is dropped.
_BRANCHES = 8
_AT_ONCE = 5000


def gross_chances(tests: FadeTests, histories: Histories, numbers: FadeNumbers) -> FloatArray:
    """Return the chance (N,) that each test is a gross error, given all tests of its pack; nan for bounds.

    `histories`: all `tests` laid out. `numbers`: of the type; of several sets the first is taken.
    """
    return by_test(tests, histories, _grid(histories, numbers, "gross"))


def surprises(tests: FadeTests, histories: Histories, numbers: FadeNumbers) -> FloatArray:
    """Return how far (N,) each test lay from what the pack's earlier ones let expect; nan for bounds.

    In standard deviations of the expected result, above it being positive. Arguments as in `gross_chances`.
    """
    return by_test(tests, histories, _grid(histories, numbers, "surprise"))


def _grid(histories: Histories, numbers: FadeNumbers, name: str) -> FloatArray:
    grid = np.zeros(histories.age.shape)
    for first in range(0, len(histories), _AT_ONCE):
        columns = np.arange(first, min(first + _AT_ONCE, len(histories)))
        states = _traced(histories.chosen(columns), numbers)
        found = getattr(states, name)
        grid[: len(found), columns] = found
    return grid


def _traced(histories: Histories, numbers: FadeNumbers) -> PackStates:
    return filtered(histories, numbers.of(slice(0, 1)), branches=_BRANCHES, traced=True)
