"""Scores of forecasts whose truth is known, over fleets; the laws and their scores are `fleet.core.battery.scores`'."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.scores import CrossingLaws, crps, ranks


@dataclass(frozen=True)
class Score:
    """Means over packs: CRPS and how late the middle is (unit of the ages), coverage, share of truths before bounds."""

    crps: float
    within_50: float
    within_80: float
    within_95: float
    before_95: float
    before_5: float
    late: float
    packs: int


def score(laws: CrossingLaws, truth: FloatArray, cap: float) -> Score:
    """Score laws against crossing ages `truth` (P,); one after `cap` is only known to be later."""
    low, high = np.minimum(truth, cap), np.where(truth < cap, truth, np.inf)
    least, most = ranks(laws, low, high)

    def within(width: float) -> float:
        return float(np.mean((most >= (1 - width) / 2) & (least <= (1 + width) / 2)))

    return Score(
        crps=float(crps(laws, low, high).mean()),
        within_50=within(0.5),
        within_80=within(0.8),
        within_95=within(0.95),
        before_95=float(np.mean(most < 0.025)),  # noqa: PLR2004 - the lower end of the 95 % interval
        before_5=float(np.mean(most < 0.05)),  # noqa: PLR2004 - the age that is given as the 5 % one
        late=float(np.mean(np.minimum(laws.quantile(0.5), cap) - low)),
        packs=len(truth),
    )


def pooled(scores: Iterable[Score]) -> Score:
    """Return the mean of scores, each weighted by its packs."""
    some = [each for each in scores if each.packs]
    weight = np.array([each.packs for each in some])
    names = [each.name for each in fields(Score) if each.name != "packs"]
    means = (float(np.average([getattr(each, name) for each in some], weights=weight)) for name in names)
    return Score(*means, packs=int(weight.sum()))


def scaled(score: Score, unit: float) -> Score:
    """Return the score with its times multiplied by `unit`."""
    return replace(score, crps=score.crps * unit, late=score.late * unit)
