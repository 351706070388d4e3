"""Scores of forecast crossing times, from their quantiles."""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray

PROBABILITIES = np.array([0.025, *np.arange(0.05, 0.96, 0.05), 0.975]).round(3)


@dataclass(frozen=True)
class Score:
    """Means over packs: CRPS (units of the quantiles), coverage, share of truths under the lower bounds."""

    crps: float
    within_50: float
    within_80: float
    within_95: float
    before_95: float
    before_5: float
    bias: float
    packs: int


def score(quantiles: FloatArray, truth: FloatArray, cap: float) -> Score:
    """Score `quantiles` (PROBABILITIES, P) against `truth` (P,); both are cut at `cap`, as nothing later is asked."""
    forecast, actual = np.minimum(quantiles, cap), np.minimum(truth, cap)
    below = actual[None] - forecast
    pinball = np.where(below > 0, PROBABILITIES[:, None] * below, (PROBABILITIES[:, None] - 1) * below)
    edges = np.concatenate([[0.0], (PROBABILITIES[1:] + PROBABILITIES[:-1]) / 2, [1.0]])
    crps = 2 * np.diff(edges) @ pinball

    def at(probability: float) -> FloatArray:
        return np.asarray(forecast[int(np.argmin(np.abs(PROBABILITIES - probability)))])

    def within(width: float) -> float:
        return float(np.mean((actual >= at((1 - width) / 2)) & (actual <= at((1 + width) / 2))))

    return Score(
        crps=float(crps.mean()),
        within_50=within(0.5),
        within_80=within(0.8),
        within_95=within(0.95),
        before_95=float(np.mean(actual < at(0.025))),
        before_5=float(np.mean(actual < at(0.05))),
        bias=float(np.mean(at(0.5) - actual)),
        packs=len(truth),
    )


def pooled(scores: list[Score]) -> Score:
    """Return the mean of scores, each weighted by its packs."""
    weight = np.array([each.packs for each in scores])
    names = ("crps", "within_50", "within_80", "within_95", "before_95", "before_5", "bias")
    return Score(
        *(float(np.average([getattr(s, n) for s in scores], weights=weight)) for n in names), int(weight.sum())
    )
