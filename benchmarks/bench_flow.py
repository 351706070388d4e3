"""How long a balance log takes beside a plain pandas one, in processor seconds of one thread.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python -m benchmarks.bench_flow [hours]

A log of so many hours at one reading a second is read from CSV text and analysed. The other way reads it with
pandas.read_csv, resamples to 30 s and rolls each window. Both must give the same trumpet, or the run fails.
"""

import io
import sys

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from benchmarks.bench_fade import seconds
from fleet.core.flow import WINDOWS, Liquid, Period, deliver, read_log

RATE, DENSITY = 5.0, 0.998
TIMES = 5


def drawn(hours: int) -> str:
    """Draw a log as CSV text."""
    rng = np.random.default_rng(1)
    times = np.arange(hours * 3600 + 1)
    grams = np.cumsum(rng.normal(RATE * DENSITY / 3600, 2e-4, len(times)))
    return "seconds,grams\n" + "\n".join(f"{time},{mass:.5f}" for time, mass in zip(times, grams, strict=True))


def by_pandas(text: str) -> list[float]:
    """Return the smallest and largest error of each window."""
    log = pd.read_csv(io.StringIO(text))
    mass = pd.Series(log.grams.to_numpy(), index=pd.to_timedelta(log.seconds, unit="s")).resample("30s").first()
    error = 100 * (mass.diff().dropna() * 60 / (0.5 * DENSITY) - RATE) / RATE
    rolled = [error.rolling(2 * minutes).mean() for minutes in WINDOWS]
    return [edge for means in rolled for edge in (means.min(), means.max())]


def main(hours: int) -> None:
    """Print the seconds of both ways and of the reading and the analysis alone."""
    text = drawn(hours)
    log = read_log(text)
    liquid = Liquid(DENSITY)
    found = deliver(log.seconds, log.grams, RATE, liquid, Period(0))
    edges = [edge for window in found.windows for edge in (window.lowest, window.highest)]
    assert_allclose(np.array(edges, dtype=float), by_pandas(text), rtol=1e-6, atol=1e-9)
    ways = {
        "reading": lambda: read_log(text),
        "analysis": lambda: deliver(log.seconds, log.grams, RATE, liquid, Period(0)),
        "pandas, both": lambda: by_pandas(text),
    }
    taken = {name: min(seconds(work) for _ in range(TIMES)) for name, work in ways.items()}
    ours = taken["reading"] + taken["analysis"]
    print(f"{hours} h at 1 s, {len(log.seconds)} readings; the smallest of {TIMES} runs")
    for name, time in {**taken, "reading and analysis": ours}.items():
        print(f"{name:24}{time * 1000:10.1f} ms{time / ours:10.2f} x")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
