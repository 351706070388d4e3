"""Whether recent tests still come out as forecast, and whether some person's, rack's or batch's come out differently.

Each test has a z: by how many standard deviations it missed what the pack's earlier tests and its type allowed
(`bend.doubt`). A good test lies outside its predicted 80 % with chance 0.2, a gross error always, so the
number outside among n recent tests is binomial with 0.2 (1 - gross) + gross. Many more mean that something changed: a
batch of bad packs, another way of testing.

The mean z of a group of tests is compared with that of all, z held within `WIDEST_Z` so that one gross error does not
speak for its group. With several groups the level is divided by their number (Bonferroni).

The z's of one pack are independent of each other for known numbers of the type; that the numbers are estimated from
the same tests makes both checks a little slow to alarm. Source: exact binomial and Bonferroni, any textbook.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.core.battery.arrays import BoolArray, FloatArray, same_length

ALARM_LEVEL = 0.01
LEAST_TESTS = 5
# Half the width of the 80 % interval of a standard normal.
_INSIDE = 1.2815515655446004
_OUTSIDE_SHARE = 0.2
WIDEST_Z = 3.0
# The z's of sound tests scatter by 1; where they scatter less than this they are copies, and differ by nothing real.
_LEAST_SPREAD = 0.1


@dataclass(frozen=True)
class Drift:
    """How many of the recent `tests` lay `outside` their predicted 80 %, and how many of those `low`.

    `expected`: how many outside there should be. `p_value`: chance of as many or more if nothing changed.
    """

    outside: int
    low: int
    tests: int
    expected: float
    p_value: float

    @property
    def alarm(self) -> bool:
        """Whether that is too many to be chance."""
        return self.p_value < ALARM_LEVEL


@dataclass(frozen=True)
class GroupBias:
    """The `mean` z of a group's `tests`, relative to all tests, and whether it is too far from zero to be chance."""

    label: str
    tests: int
    mean: float
    alarm: bool


def drift(z: FloatArray, recent: BoolArray, *, gross: float = 0.0) -> Drift:
    """Return how the `recent` (N,) of the tests came out. `z` (N,), nan for tests that have none and don't count.

    `gross`: the share of gross errors that the type is known to have.
    """
    same_length(z=z, recent=recent)
    looked_at = z[recent & np.isfinite(z)]
    outside = int(np.count_nonzero(np.abs(looked_at) > _INSIDE))
    share = _OUTSIDE_SHARE * (1 - gross) + gross
    return Drift(
        outside=outside,
        low=int(np.count_nonzero(looked_at < -_INSIDE)),
        tests=len(looked_at),
        expected=share * len(looked_at),
        p_value=_at_least(outside, len(looked_at), share),
    )


def bias(z: FloatArray, group: Iterable[str]) -> list[GroupBias]:
    """Return each group of at least LEAST_TESTS tests, in order of its label, against all tests.

    `group`: a label for each z; tests without one ("") are only compared with. One group alone has nothing to be
    compared with and is left out.
    """
    labels = np.array(list(group), dtype=np.str_)
    same_length(z=z, group=labels)
    known = np.isfinite(z)
    held, labels = np.clip(z[known], -WIDEST_Z, WIDEST_Z), labels[known]
    names, place, count = np.unique(labels, return_inverse=True, return_counts=True)
    groups = np.flatnonzero((count >= LEAST_TESTS) & (names != ""))
    if len(names) < 2 or not groups.size:  # noqa: PLR2004 - two groups at least, to compare
        return []
    centred = held - held.mean()
    mean = np.bincount(place, centred) / count
    within = max(float(np.sqrt(np.mean((centred - mean[place]) ** 2))), _LEAST_SPREAD)
    # The group is a part of all, whose mean it is compared with.
    spread = within * np.sqrt(1 / count - 1 / len(held))
    p_value = 2 * special.ndtr(-np.abs(mean[groups]) / spread[groups])
    alarm = p_value < ALARM_LEVEL / len(groups)
    rows = zip(groups, alarm, strict=True)
    return [GroupBias(str(names[at]), int(count[at]), float(mean[at]), bool(loud)) for at, loud in rows]


def _at_least(hits: int, tests: int, share: float) -> float:
    """Return the chance of `hits` or more among `tests` with chance `share` each."""
    return float(special.betainc(hits, tests - hits + 1, share)) if hits else 1.0
