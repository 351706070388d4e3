"""How long the bending fade takes, as ratios in the same run, in processor seconds of one thread.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python -m benchmarks.bench_bend [packs] [draws]

Fit and crossing ages (10, 50, 90 %) of all packs, beside statsmodels' MixedLM and a line per pack by pandas groupby,
both on a subset and scaled up by its packs (which flatters MixedLM if its cost grows faster); then one pack alone after
a new test, the type's numbers kept. Printed too: the most memory held.
"""

import resource
import sys

import numpy as np

from benchmarks.bench_fade import SUBSET, drawn, line_by_line, mixed_lm, seconds
from fleet.core.battery.bend.fit import FadeFit, fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out, rough_life
from fleet.core.battery.bend.outlook import crossing_ages
from fleet.core.battery.bend.parameters import assumed_prior

LEVEL = 0.80
HORIZON_YEARS = 12.0
LINES = 5000
CHANCES = np.array([0.1, 0.5, 0.9])


def bending(tests: FadeTests, packs: int, draws: int) -> FadeFit:
    """Fit the type and find every pack's crossing ages."""
    histories = lay_out(tests, packs)
    fit = fit_fade_numbers(histories, assumed_prior(rough_life(histories)), draws=draws)
    one_more(histories, fit)
    return fit


def one_more(histories: Histories, fit: FadeFit) -> None:
    """Find crossing ages, the type's numbers kept."""
    crossing_ages(histories, fit.drawn_numbers(), LEVEL, CHANCES, HORIZON_YEARS)


def some(tests: FadeTests, packs: int) -> FadeTests:
    """Return the tests of the first packs."""
    return tests.rows(tests.pack < packs)


def main(packs: int, draws: int) -> None:
    """Print each way's seconds and its ratio to this model's."""
    tests, _ = drawn(packs)
    ours = seconds(lambda: bending(tests, packs, draws))
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{packs} packs, {len(tests.pack)} tests, {draws} draws, {held:.0f} MB at most")
    few = some(tests, 1000)
    fit = bending(few, 1000, draws)
    single = lay_out(FadeTests.of([0, 0], [1.0, 2.0], [0.95, 0.9]), 1)
    times = {
        "fit and crossings": ours,
        f"MixedLM, {SUBSET} packs, scaled": seconds(lambda: mixed_lm(tests)) * packs / SUBSET,
        f"groupby, {LINES} packs, scaled": seconds(lambda: line_by_line(some(tests, LINES))) * packs / LINES,
        "one pack after one more test": seconds(lambda: one_more(single, fit)),
    }
    for name, taken in times.items():
        print(f"{name:32} {taken:10.3f} s {taken / ours:10.2f} x")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000, int(sys.argv[2]) if len(sys.argv) > 2 else 8)  # noqa: PLR2004 - two arguments
