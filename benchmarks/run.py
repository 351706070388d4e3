"""Run the benchmarks beside this file, each in a process of its own: `make bench`, or `make bench ARGS="fade pages"`.

A benchmark is a file bench_*.py or a folder with a __main__.py.

Times depend on the machine; the ratios, taken in one run on one machine, are what is worth comparing.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
FILES = {path.stem.removeprefix("bench_"): f"benchmarks.{path.stem}" for path in sorted(HERE.glob("bench_*.py"))}
FOUND = {**FILES, **{path.parent.name: f"benchmarks.{path.parent.name}" for path in HERE.glob("*/__main__.py")}}


def main(asked: list[str]) -> int:
    """Run those asked for, or all; give how many failed."""
    if unknown := [name for name in asked if name not in FOUND]:
        print(f"No benchmark is called {', '.join(unknown)}. There are: {', '.join(FOUND)}.", file=sys.stderr)
        return 1
    failed = 0
    for name in asked or FOUND:
        print(f"\n== {name} ==", flush=True)
        start = time.perf_counter()
        ended = subprocess.run([sys.executable, "-m", FOUND[name]], cwd=HERE.parent, env=_environment(), check=False)
        failed += ended.returncode != 0
        print(f"({time.perf_counter() - start:.0f} s in all)", flush=True)
    return failed


def _environment() -> dict[str, str]:
    one_thread = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return {**os.environ, **one_thread, "PYTHONPATH": str(HERE.parent)}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
