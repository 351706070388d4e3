"""Roughly when packs cross: where to look for the crossing ages, so that the whole law is taken at few ages.

A pack's normals (of all draws and branches) are taken as one, with their mean and covariance together, and being below
the level as having passed it. The draws' bends differ most, and by other factors at other ages: the bend of each is
stated in parts of a usual one, as at the age by which the mean fade has passed the level.
"""

from dataclasses import replace

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.passage import Course

# Ages that are looked at, denser when young, as fades spread with age.
_AGES, _DENSER = 20, 1.5
# Ages under this share of the horizon count as it where they are interpolated.
_LEAST_AGE = 1e-3
# Where nothing is reached by the horizon the ages lie between so much of it and all, and are not the same.
_LATEST = 0.8
_LEAST_RISE = 1e-9
_LEAST_BEND = 1e-300
# Beyond the ages known a line is followed for so many times the distance of the last two.
_BEYOND = 2.0


def rough_ages(course: Course, share: FloatArray, level: float, probits: FloatArray, horizon: FloatArray) -> FloatArray:
    """Return the ages (J, n), at most the `horizon` (n,), by which the rough laws have reached the `probits` (J,).

    `course` (B, R, n), each normal with its `share` of its pack's chance (the same), 1 over B and R.
    """
    grid = np.linspace(0.0, 1.0, _AGES)[:, None] ** _DENSER * horizon
    usual = Course(
        age=course.age,
        mean=np.einsum("brn,ibrn->in", share, course.mean),
        covariance=np.zeros((3, 3, 1)),  # its mean is all that is asked of it
        bend=np.exp(np.log(course.bend).mean(axis=0)),
        power=course.power.mean(axis=0),
        stray=course.stray.mean(axis=0),
    )
    middle = ages_reaching(grid, level - usual.middle(grid), np.zeros(1))[0]
    one = _as_one(course, share, usual, np.minimum(middle, horizon))
    mean, variance, _ = one.moments(grid)
    latest = np.linspace(_LATEST, 1.0, len(probits))[:, None] * horizon
    return np.minimum(ages_reaching(grid, (level - mean) / np.sqrt(variance), probits), latest)


def _as_one(course: Course, share: FloatArray, usual: Course, age: FloatArray) -> Course:
    """Return the mean and covariance of all normals, their bends in parts of the usual one as they are at `age`."""
    part = course.bent(age) / np.maximum(usual.bent(age), _LEAST_BEND)
    part = np.where(age > course.age, part, 1.0)
    each, covariance = course.mean.copy(), course.covariance.copy()
    each[2] *= part
    covariance[2] *= part
    covariance[:, 2] *= part
    mean = np.einsum("brn,ibrn->in", share, each)
    apart = each - mean[:, None, None]
    together = np.einsum("brn,ijbrn->ijn", share, covariance) + np.einsum("brn,ibrn,jbrn->ijn", share, apart, apart)
    return replace(usual, mean=mean, covariance=together)


def ages_reaching(ages: FloatArray, reached: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return the ages (Q, P) at which what is `reached` (J, P) by rising `ages` (J, P) comes to each `wanted` (Q,).

    Straight in log age between them and a little beyond; what falls with age counts as level.
    """
    reached, least = np.maximum.accumulate(reached, axis=0), _LEAST_AGE * ages[-1]
    over = np.clip(np.stack([np.count_nonzero(reached < each, axis=0) for each in wanted]), 1, len(ages) - 1)
    low, high = (np.take_along_axis(reached, at, axis=0) for at in (over - 1, over))
    start, end = (np.log(np.maximum(np.take_along_axis(ages, at, axis=0), least)) for at in (over - 1, over))
    part = (wanted[:, None] - low) / np.maximum(high - low, _LEAST_RISE)
    return np.asarray(np.exp(start + np.clip(part, -_BEYOND, 1 + _BEYOND) * (end - start)))
