"""How far the arrays are from a fused kernel: the filter and the crossing ages of all packs, the type's numbers given.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python -m benchmarks.bench_kernel [packs] [draws]

The kernel (`fused`, numba, one thread) does the same arithmetic with the same special functions, one pack at a time.
Packs with a test in doubt are left out, as it follows no branches. Its ages must be those of `crossing_ages` within
APART, or the run fails. In the same run: a line per pack by pandas groupby, and MixedLM, both on a subset, scaled up.
"""

import sys
from collections.abc import Callable

import numpy as np
from numpy.testing import assert_allclose
from scipy import special

from benchmarks import fused
from benchmarks.bench_bend import CHANCES, HORIZON_YEARS, LEVEL, LINES, some
from benchmarks.bench_fade import SUBSET, drawn, line_by_line, mixed_lm, seconds
from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.filtering import grouped
from fleet.core.battery.bend.fit import fit_fade_numbers
from fleet.core.battery.bend.histories import Histories, lay_out, rough_life
from fleet.core.battery.bend.outlook import crossing_ages, spread
from fleet.core.battery.bend.parameters import FadeNumbers, assumed_prior

# Packs the numbers are fitted on, which is not what is timed.
FITTED = 1000
# Relative: the kernel's erfcx is not a series, and where a chance is as good as close enough, one of them looks again.
APART = 2e-3


def by_kernel(histories: Histories, numbers: FadeNumbers) -> FloatArray:
    """Return the crossing ages (Q, P) of plain packs in the order of `histories`."""
    count = np.count_nonzero(histories.active[:, None] > np.arange(len(histories)), axis=0)
    tests = np.ascontiguousarray(np.stack([histories.age.T, histories.value.T], axis=-1))
    wanted = special.ndtri(CHANCES)
    return fused.crossings(tests, count, (HORIZON_YEARS, LEVEL), fused.table(numbers), (wanted, spread(wanted)))[0]


def timed(work: Callable[[], FloatArray]) -> tuple[FloatArray, float]:
    """Return what the work gives and the processor seconds it took."""
    found: list[FloatArray] = []
    taken = seconds(lambda: found.append(work()))
    return found[0], taken


def main(packs: int, draws: int) -> None:
    """Print the seconds of the kernel, of the arrays and of the usual ways, and their ratios to the kernel's."""
    tests, _ = drawn(packs)
    histories = lay_out(tests, packs)
    prior = assumed_prior(rough_life(histories))
    numbers = fit_fade_numbers(histories, prior, draws=draws, most_packs=FITTED).drawn_numbers()
    plain = next(group for group, branches in grouped(histories, numbers) if branches == 1).in_own_order()
    by_kernel(plain.chosen(np.arange(10)), numbers)  # compiles
    expected, fused_seconds = timed(lambda: by_kernel(plain, numbers))
    found, arrays_seconds = timed(lambda: crossing_ages(plain, numbers, LEVEL, CHANCES, HORIZON_YEARS))
    assert_allclose(found, expected, rtol=APART)
    times = {
        "fused kernel": fused_seconds,
        "arrays": arrays_seconds,
        f"MixedLM, {SUBSET} packs, scaled": seconds(lambda: mixed_lm(tests)) * packs / SUBSET,
        f"groupby, {LINES} packs, scaled": seconds(lambda: line_by_line(some(tests, LINES))) * packs / LINES,
    }
    print(f"{len(plain)} packs of {packs} without a test in doubt, {draws} draws: filter and crossing ages alone")
    for name, taken in times.items():
        print(f"{name:32} {taken:10.3f} s {taken / fused_seconds:10.2f} x")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000, int(sys.argv[2]) if len(sys.argv) > 2 else 8)  # noqa: PLR2004 - two arguments
