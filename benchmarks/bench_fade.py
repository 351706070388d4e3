"""How long the pooled fade takes, beside what one would otherwise reach for, in processor seconds of one thread.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python -m benchmarks.bench_fade [packs]

Three ways to a line for each pack of one type: this project's pooled line (all packs), statsmodels'
MixedLM (the same model; on a subset, scaled up by its packs, which flatters it if its cost grows faster), and a
least-squares line by pandas groupby for each pack on its own (no pooling, no uncertainty; packs with two tests only).
Beside them the whole nightly forecast, which is the bending fade (see bench_bend).
"""

import sys
import time
import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.fade import fit_fade, pack_posterior, pack_sums
from fleet.core.battery.forecast import forecast
from fleet.core.battery.foreseen import Packs

SUBSET = 500
TESTS_EACH = 4


def drawn(packs: int) -> tuple[FadeTests, Packs]:
    """Draw a type of `packs` packs, 0.5 to 6 years old, with 1 to 4 tests each."""
    rng = np.random.default_rng(1)
    line = rng.multivariate_normal([1.02, 0.05], [[4e-4, 9e-5], [9e-5, 2.25e-4]], packs)
    today = rng.uniform(0.5, 6.0, packs)
    pack = np.repeat(np.arange(packs), rng.integers(1, TESTS_EACH + 1, packs))
    age = rng.uniform(0.0, 1.0, len(pack)) * today[pack]
    fraction = np.maximum(line[pack, 0] - line[pack, 1] * age + rng.normal(0.0, 0.02, len(pack)), 0.0)
    return FadeTests.of(pack, age, fraction), Packs(today, today + 0.5)


def seconds(work: Callable[[], object]) -> float:
    """Run the work once and tell the processor seconds it took."""
    start = time.process_time()
    work()
    return time.process_time() - start


def pooled(tests: FadeTests, packs: int) -> None:
    """Fit the type and every pack."""
    population = fit_fade(tests.pack, tests.age_years, tests.fraction)
    pack_posterior(population, pack_sums(tests.pack, tests.age_years, tests.fraction, packs=packs))


def mixed_lm(tests: FadeTests) -> None:
    """Fit the subset's packs with statsmodels, posterior variances included."""
    rows = tests.pack < SUBSET
    design = np.column_stack([np.ones(rows.sum()), -tests.age_years[rows]])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it is timed, not believed
        found = MixedLM(tests.fraction[rows], design, groups=tests.pack[rows], exog_re=design).fit(reml=True)
        assert len(found.random_effects_cov) == len(np.unique(tests.pack[rows]))


def line_by_line(tests: FadeTests) -> None:
    """Fit each pack's own least-squares line with pandas and NumPy."""
    frame = pd.DataFrame({"pack": tests.pack, "age": tests.age_years, "fraction": tests.fraction})
    often = frame[frame.groupby("pack")["age"].transform("size") > 1]
    often.groupby("pack")[["age", "fraction"]].apply(lambda rows: np.polyfit(rows["age"], rows["fraction"], 1))


def main(packs: int) -> None:
    """Print each way's time and its ratio to this project's fit."""
    tests, state = drawn(packs)
    ours = seconds(lambda: pooled(tests, packs))
    times = {
        "pooled fit, all packs": ours,
        "whole forecast, all packs": seconds(lambda: forecast(tests, state)),
        f"MixedLM, {SUBSET} packs, scaled": seconds(lambda: mixed_lm(tests)) * packs / SUBSET,
        "pandas groupby, a line each": seconds(lambda: line_by_line(tests)),
    }
    print(f"{packs} packs, {len(tests.pack)} tests")
    for name, taken in times.items():
        print(f"{name:32} {taken:10.3f} s {taken / ours:10.1f} x")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
