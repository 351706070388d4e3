"""How low and how fast the planned work of a year is levelled, beside the plain rule and the bound.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python -m benchmarks.bench_levelling [drivers]

Each driver has a yearly service of 45 minutes and a battery test of 15, with windows of four weeks before and after;
four in ten services lie anywhere in the year and the others heap up in spring, and 3 % of the work is late. Wards have
50 drivers. "Tight" wards spare 4 % of their drivers in one week, which is too little for some of the work.
"""

import sys
import time

import numpy as np

from fleet.core.levelling import Bench, Job, level

WEEKS = 52
WARD = 50
SPREAD, LATE = 0.4, 0.03


def year(drivers: int) -> list[Job]:
    """Draw the work of a year."""
    rng = np.random.default_rng(1)
    made = []
    for device in range(drivers):
        spread = rng.random() < SPREAD
        base = int(rng.integers(WEEKS)) if spread else int(np.clip(rng.normal(20, 5), 0, WEEKS - 1))
        other = int(np.clip(base + rng.integers(-12, 13), 0, WEEKS - 1))
        for due, minutes in ((base, 45), (other, 15)):
            window = max(due - 4, 0), due, min(due + 4, WEEKS - 1)
            made.append(Job(device, device // WARD, *window, minutes, late=rng.random() < LATE))
    return made


def main(drivers: int) -> None:
    """Level the year for wards that spare more and fewer drivers, and print a line of each."""
    jobs = year(drivers)
    hours = sum(job.minutes for job in jobs) / 60 / WEEKS * 1.1
    print(f"{drivers:,} drivers, {len(jobs):,} jobs, {hours:.0f} h a week")
    print("wards spare  visits  no week  before h  greedy h  plan h  bound h  to greedy  over bound  seconds")
    for words, most_away in (("20 %", 0.2), ("10 %", 0.1), ("4 %, tight", 0.04)):
        bench = Bench((round(hours * 60),) * WEEKS, dict.fromkeys(range(drivers // WARD + 1), WARD), most_away)
        start = time.process_time()
        plan = level(jobs, bench)
        took = time.process_time() - start
        peaks = (plan.before.max() / bench.minutes[0], plan.greedy, plan.fullest, plan.bound)
        shown = "  ".join(f"{peak * hours:8.0f}" for peak in peaks)
        ratio = plan.fullest / plan.greedy
        print(f"{words:11}  {plan.visits:6}  {len(plan.why):7}  {shown}  {ratio:9.3f}  {plan.gap:10.2%}  {took:7.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
