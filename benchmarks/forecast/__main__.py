"""How good the forecasts are, on invented fleets with known truth and on real cells.

    python -m benchmarks.forecast [seeds]

Prints one row per fleet and way: CRPS (months for invented fleets, lives for real cells), coverage of the 50, 80
and 95 % intervals, share of truths before the 95 % interval and before the 5 % age, and the median's mean error.
Nothing was tuned on the real cells but the structure of the model.
"""

import sys
from collections.abc import Callable

from benchmarks.forecast.cells import Fleet, fleet_of, knee_cells
from benchmarks.forecast.scores import Score, pooled, score
from benchmarks.forecast.simulator import FADES, Scene, simulated_fleet
from benchmarks.forecast.ways import WAYS

CAP_LIVES = 3.0
# MixedLM takes minutes beyond this.
MIXED_LM_SLOTS = 1000
SIZES = {50: 4, 100: 4, 300: 2, 5000: 1}
HEAD = f"{'fleet':24}{'way':14}{'CRPS':>8}{'50':>7}{'80':>7}{'95':>7}{'<95':>7}{'<5':>7}{'error':>8}{'packs':>7}"


def measured(make: Callable[[int], Fleet], way: str, seeds: int) -> Score:
    """Score a way over fleets drawn with each seed, in lives."""
    scores = []
    for seed in range(seeds):
        fleet = make(seed)
        quantiles = WAYS[way](fleet)[:, fleet.scored] / fleet.life
        scores.append(score(quantiles, fleet.crossing[fleet.scored] / fleet.life, CAP_LIVES))
    return pooled(scores)


def row(fleet: str, way: str, found: Score, unit: float) -> str:
    """Return one printed row; `unit` turns lives into what is shown."""
    shares = (found.within_50, found.within_80, found.within_95, found.before_95, found.before_5)
    numbers = "".join(f"{share:7.3f}" for share in shares)
    return f"{fleet:24}{way:14}{found.crps * unit:8.3f}{numbers}{found.bias * unit:8.3f}{found.packs:7d}"


def main(seeds: int) -> None:
    """Print all rows, the real cells first."""
    print(HEAD)
    cells = knee_cells()
    for mature in (False, True):
        for way in WAYS:
            found = measured(lambda seed, mature=mature: fleet_of(cells, seed, mature=mature), way, seeds)
            print(row(f"cells, {'mature' if mature else 'young'}", way, found, 1.0), flush=True)
    for slots, times in SIZES.items():
        for fade in FADES:
            for way in WAYS:
                if way == "MixedLM" and slots > MIXED_LM_SLOTS:
                    continue
                scene = Scene(slots, fade)
                found = measured(
                    lambda seed, scene=scene: simulated_fleet(scene, seed), way, max(1, seeds * times // 20)
                )
                print(row(f"{slots} slots, {fade}", way, found, 48.0), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
