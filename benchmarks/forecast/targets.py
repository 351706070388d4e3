"""What the forecasts are meant to reach, and whether they did.

The CRPS of 5.7 months, and of 7.0 by MixedLM and 12.6 by a line for each pack, were of another simulator: hence the
ratios beside. Trials of one size are taken together over all fades.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from benchmarks.forecast.scores import Score, pooled

OURS = "bend"
# Scores by trial and way, in the unit of the trial.
Scores = Mapping[tuple[str, str], Score]


@dataclass(frozen=True)
class Target:
    """A figure over the trials whose name begins so, or its ratio to that of the way `over`: within `least`, `most`."""

    words: str
    trials: str
    figure: Callable[[Score], float]
    over: str = ""
    most: float = float("inf")
    least: float = float("-inf")

    def line(self, scores: Scores) -> str:
        """Return the target beside what was measured."""
        if not any(trial.startswith(self.trials) for trial, _ in scores):
            return f"{self.words:62} not measured"
        found = self._found(scores, OURS) / (self._found(scores, self.over) if self.over else 1.0)
        wanted = f"<= {self.most:.3f}" if self.most < float("inf") else f">= {self.least:.3f}"
        told = "met" if self.least <= found <= self.most else "MISSED"
        return f"{self.words:62}{found:8.3f}  {wanted:9} {told}"

    def _found(self, scores: Scores, wanted: str) -> float:
        own = [score for (trial, way), score in scores.items() if way == wanted and trial.startswith(self.trials)]
        return self.figure(pooled(own))


def _off(figure: Callable[[Score], float], wanted: float) -> Callable[[Score], float]:
    return lambda score: abs(figure(score) - wanted)


TARGETS = (
    Target("5000 slots: CRPS, months", "5000 slots", lambda s: s.crps, most=5.7),
    Target("5000 slots: CRPS over MixedLM's", "5000 slots", lambda s: s.crps, "MixedLM", most=5.7 / 7.0),
    Target("5000 slots: CRPS over a line's for each pack", "5000 slots", lambda s: s.crps, "own line", most=5.7 / 12.6),
    Target("5000 slots: 80 % coverage off by", "5000 slots", _off(lambda s: s.within_80, 0.80), most=0.03),
    Target("5000 slots: 95 % coverage off by", "5000 slots", _off(lambda s: s.within_95, 0.95), most=0.03),
    Target("5000 slots: crossed before the 5 % age", "5000 slots", lambda s: s.before_5, most=0.06),
    Target("100 slots: 95 % coverage", "100 slots", lambda s: s.within_95, least=0.93),
    Target("cells, young: CRPS, lives", "cells, young", lambda s: s.crps, most=0.080),
    Target("cells, young: 95 % coverage", "cells, young", lambda s: s.within_95, least=0.93),
    Target("cells, young: before the 95 % interval", "cells, young", lambda s: s.before_95, most=0.04),
    Target("cells, mature: CRPS, lives", "cells, mature", lambda s: s.crps, most=0.065),
    Target("cells, mature: 95 % coverage", "cells, mature", lambda s: s.within_95, least=0.93),
    Target("cells, mature: before the 95 % interval", "cells, mature", lambda s: s.before_95, most=0.04),
)
